/* The charts: stack above, oil below, refill pump at the foot, on one axis of time. */
(function () {
  "use strict";
  var dark = window.matchMedia ? window.matchMedia("(prefers-color-scheme: dark)") : null;

  function ink(name) { return getComputedStyle(document.documentElement).getPropertyValue(name).trim(); }

  function faded(colour) { return /^#\w{6}$/.test(colour) ? colour + "66" : colour; }

  function element(name, className, text) {
    var node = document.createElement(name);
    if (className) { node.className = className; }
    if (text) { node.textContent = text; }
    return node;
  }

  /* A column without a reading is a gap only where the board has missed three of its slowest reports. */
  function onlyLong(u, index, first, last, gaps) {
    var perPixel = (u.scales.x.max - u.scales.x.min) / u.bbox.width;
    return gaps.filter(function (gap) { return (gap[1] - gap[0]) * perPixel > 200; });
  }

  var COLOURS = { stack: "--fire", tank: "--cool", nozzle: "--work", pump: "--ink" };

  function clockTicks(u, splits, space, gap, step) {
    return splits.map(function (s) {
      var d = new Date(s * 1000);
      if (step >= 86400 || (d.getHours() === 0 && d.getMinutes() === 0)) {
        return d.getDate() + " " + ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"][d.getMonth()];
      }
      return ("0" + d.getHours()).slice(-2) + ":" + ("0" + d.getMinutes()).slice(-2);
    });
  }

  /* What was done or went wrong, as lines across the panels. */
  function drawMarks(u, marks) {
    var context = u.ctx;
    context.save();
    context.lineWidth = 2 * (window.devicePixelRatio || 1);
    marks.forEach(function (mark) {
      var x = Math.round(u.valToPos(mark.t, "x", true));
      if (x < u.bbox.left || x > u.bbox.left + u.bbox.width) { return; }
      context.strokeStyle = ink(mark.look === "log" ? "--link" : "--" + mark.look);
      context.setLineDash(mark.look === "log" ? [] : [6, 5]);
      context.beginPath();
      context.moveTo(x, u.bbox.top);
      context.lineTo(x, u.bbox.top + u.bbox.height);
      context.stroke();
    });
    context.restore();
  }

  function present() { return window.sootline.now() / 1000; } // the host's clock, not ours

  function Chart(figure) {
    this.figure = figure;
    this.host = figure.querySelector(".panels");
    this.note = figure.querySelector(".chart-note");
    this.address = figure.getAttribute("data-chart");
    this.hours = Number(figure.getAttribute("data-hours"));
    this.zoomed = figure.hasAttribute("data-zoom");
    this.end = Number((/[?&]end=(\d+)/.exec(location.search) || [])[1]) || null; // null follows the present
    if (this.zoomed) { this.hours = Number((/[?&]hours=([\d.]+)/.exec(location.search) || [])[1]) || this.hours; }
    this.plots = [];
    this.data = null;
    this.host.style.minHeight = "29rem";
    this.wire();
    this.load();
  }

  Chart.prototype.width = function () { return Math.max(240, Math.floor(this.host.clientWidth)); };

  Chart.prototype.load = function () {
    var self = this;
    var query = "?hours=" + this.hours + "&pixels=" + this.width() + (this.end ? "&end=" + Math.round(this.end) : "");
    var request = new XMLHttpRequest();
    var mine = this.latest = (this.latest || 0) + 1;
    request.open("GET", this.address + query);
    request.onload = function () {
      if (mine !== self.latest) { return; }
      if (request.status !== 200) { self.say("The chart could not be loaded."); return; }
      self.data = JSON.parse(request.responseText);
      self.draw();
    };
    request.onerror = function () { self.say("The chart could not be loaded."); };
    request.send();
  };

  Chart.prototype.say = function (text) { if (this.note.textContent !== text) { this.note.textContent = text; } };

  Chart.prototype.draw = function () {
    var data = this.data;
    this.plots.forEach(function (plot) { plot.destroy(); });
    this.plots = [];
    this.host.innerHTML = "";
    var any = data.series.some(function (s) { return s.high.some(function (v) { return v !== null; }); });
    if (!any) {
      this.say(this.zoomed ? "No readings in this span." : "No readings in the last " + this.hours + " hours.");
      this.host.style.minHeight = "0";
      this.figure.setAttribute("data-drawn", "empty");
      return;
    }
    this.host.style.minHeight = "";
    this.panel(["stack"], 170, false);
    this.panel(["tank", "nozzle"], 170, false);
    var share = data.series.some(function (s) { return s.channel === "pump" && s.unit === "%"; });
    this.panel(["pump"], share ? 110 : 74, true);
    var lines = data.marks.length ? " Whole lines across: something was done; broken lines: an alarm." : "";
    this.say((this.zoomed ? "Drag over the chart to look closer. " : "") + "A gap is a time without readings." + lines);
    this.figure.setAttribute("data-drawn", data.start + "-" + data.end);
  };

  Chart.prototype.panel = function (channels, height, last) {
    var self = this, data = this.data, values = [data.t], series = [{}], bands = [], share = false, titles = element("div", "panel-title"), keys = [];
    data.series.forEach(function (s) {
      if (channels.indexOf(s.channel) < 0) { return; }
      var colour = ink(COLOURS[s.channel]);
      var key = element("span", "key key-" + s.channel, s.label + (s.unit ? " " + s.unit : "") + " ");
      var reading = element("b");
      key.appendChild(reading);
      titles.appendChild(key);
      if (s.low) {
        var line = { stroke: colour, width: 1, points: { show: false }, gaps: onlyLong };
        if (s.channel === "nozzle") { line.dash = [6, 3]; }
        series.push(line, Object.assign({}, line));
        values.push(s.high, s.low);
        bands.push({ series: [series.length - 2, series.length - 1], fill: faded(colour) });
        keys.push({ node: reading, high: s.high, low: s.low, unit: s.unit });
      } else {
        series.push({ stroke: colour, fill: colour, width: 1, points: { show: false }, gaps: onlyLong, paths: uPlot.paths.stepped({ align: 1 }) });
        values.push(s.high);
        keys.push({ node: reading, high: s.high, low: null, unit: s.unit });
        share = s.unit === "%";
      }
    });
    this.host.appendChild(titles);
    var quiet = ink("--quiet"), rule = ink("--rule"), font = "13px sans-serif";
    var pump = channels[0] === "pump";
    var options = {
      width: this.width(), height: height, legend: { show: false }, pxAlign: 1, bands: bands,
      cursor: { sync: { key: this.address }, drag: { x: this.zoomed, y: false, setScale: false }, y: false },
      scales: { x: { time: true, range: [data.start, data.end] }, y: pump && !share ? { range: [0, 1] } : share ? { range: function (u, low, high) { return [0, Math.max(high, 1)]; } } : {} },
      series: series,
      axes: [
        { stroke: quiet, grid: { stroke: rule, width: 1 }, ticks: { stroke: rule }, font: font, values: last ? clockTicks : function (u, s) { return s.map(function () { return ""; }); }, size: last ? 34 : 6, space: 62 },
        { stroke: quiet, grid: { stroke: rule, width: 1, show: !pump }, ticks: { stroke: rule, show: !pump }, font: font, size: 44, values: share ? function (u, s) { return s.map(function (v) { return v + "%"; }); } : pump ? function (u, s) { return s.map(function (v) { return v === 1 ? "on" : v === 0 ? "off" : ""; }); } : undefined, splits: pump && !share ? function () { return [0, 1]; } : undefined, space: share ? 20 : 30 },
      ],
      hooks: {
        setCursor: [function (u) {
          var i = u.cursor.idx;
          keys.forEach(function (key) {
            var high = i === null || i === undefined ? null : key.high[i];
            var low = key.low && high !== null ? key.low[i] : null;
            var text = high === null || high === undefined ? "" : key.low === null ? (key.unit ? high + "%" : high ? "on" : "off") : low === high ? String(high) : low + " to " + high;
            if (key.node.textContent !== text) { key.node.textContent = text; }
          });
        }],
        setSelect: [function (u) {
          if (u.select.width < 8) { return; }
          var from = u.posToVal(u.select.left, "x"), to = u.posToVal(u.select.left + u.select.width, "x");
          u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
          self.look(to, (to - from) / 3600);
        }],
        drawAxes: [function (u) { drawMarks(u, data.marks); }],
      },
    };
    this.plots.push(new uPlot(options, values, this.host));
  };

  Chart.prototype.look = function (end, hours) {
    var latest = present();
    this.hours = Math.min(Math.max(hours, 1 / 6), 24 * 400);
    this.end = end >= latest - 1 ? null : end;
    this.press();
    this.load();
  };

  Chart.prototype.press = function () {
    var self = this;
    Array.prototype.forEach.call(this.figure.querySelectorAll("[data-span]"), function (button) {
      button.setAttribute("aria-pressed", Number(button.getAttribute("data-span")) === self.hours && !self.end ? "true" : "false");
    });
  };

  Chart.prototype.wire = function () {
    var self = this, timer;
    this.press();
    this.figure.addEventListener("click", function (event) {
      var button = event.target;
      var middle = (self.end || present()) - self.hours * 1800;
      if (button.hasAttribute("data-span")) {
        self.look(present(), Number(button.getAttribute("data-span")));
      } else if (button.hasAttribute("data-move")) {
        self.look((self.end || present()) + Number(button.getAttribute("data-move")) * self.hours * 1800, self.hours);
      } else if (button.hasAttribute("data-scale")) {
        var hours = self.hours * Number(button.getAttribute("data-scale"));
        self.look(self.end ? middle + hours * 1800 : present(), hours);
      }
    });
    var width = 0;
    window.addEventListener("resize", function () {
      clearTimeout(timer);
      timer = setTimeout(function () { if (self.width() !== width) { width = self.width(); self.load(); } }, 200);
    });
    width = this.width();
    if (dark && dark.addEventListener) { dark.addEventListener("change", function () { if (self.data) { self.draw(); } }); }
    if (!this.zoomed) {
      setInterval(function () { if (!document.hidden) { self.load(); } }, 30000);
      document.addEventListener("visibilitychange", function () { if (!document.hidden) { self.load(); } });
    }
  };

  /* Panels one below the other, drawn once: `lines(part)` gives the lines of a panel, `note(data)` the words below. */
  function Panels(figure, address, time, lines, note) {
    var host = figure.querySelector(".panels"), said = figure.querySelector(".chart-note"), data = null, plots = [], timer;

    function panel(part, last) {
      var titles = element("div", "panel-title"), keys = [], series = [{}], values = [data.t], bands = [];
      titles.appendChild(element("b", "", part.label + ", " + part.unit));
      lines(part, data).forEach(function (line) {
        series.push({ stroke: ink(line.colour), width: line.width, dash: line.dash, points: { show: !!line.points, size: 5 }, spanGaps: !time });
        values.push(line.values);
        if (line.band) { bands.push({ series: [series.length - 2, series.length - 1], fill: faded(ink(line.colour)) }); }
        if (line.name) {
          var key = element("span", "key " + line.key, line.name + " ");
          keys.push({ node: key.appendChild(element("b")), values: line.values });
          titles.appendChild(key);
        }
      });
      host.appendChild(titles);
      plots.push(new uPlot({
        width: Math.max(240, host.clientWidth), height: last ? 190 : 160, legend: { show: false }, bands: bands,
        cursor: { sync: { key: address }, drag: { x: false, y: false }, y: false },
        scales: { x: { time: time } }, series: series,
        axes: [
          { stroke: ink("--quiet"), grid: { stroke: ink("--rule"), width: 1 }, font: "13px sans-serif", size: last ? 34 : 6, space: 62, incrs: time ? [1, 2, 7, 14, 28, 56].map(function (n) { return n * 86400; }) : undefined,
            values: !last ? function (u, s) { return s.map(function () { return ""; }); } : time ? clockTicks : function (u, s) { return s.map(function (v) { return v + " min"; }); } },
          { stroke: ink("--quiet"), grid: { stroke: ink("--rule"), width: 1 }, font: "13px sans-serif", size: 44 },
        ],
        hooks: {
          drawAxes: [function (u) { drawMarks(u, data.marks || []); }],
          setCursor: [function (u) {
            keys.forEach(function (key) {
              var value = u.cursor.idx === null || u.cursor.idx === undefined ? null : key.values[u.cursor.idx];
              key.node.textContent = value === null || value === undefined ? "" : value;
            });
          }],
        },
      }, values, host));
    }

    function draw() {
      plots.forEach(function (plot) { plot.destroy(); });
      plots = [];
      host.innerHTML = "";
      data.panels.forEach(function (part, i) { panel(part, i === data.panels.length - 1); });
      said.textContent = note(data);
      figure.setAttribute("data-drawn", said.textContent);
    }

    var request = new XMLHttpRequest();
    request.open("GET", address);
    request.onload = function () {
      if (request.status !== 200) { said.textContent = "The chart could not be loaded."; return; }
      data = JSON.parse(request.responseText);
      draw();
    };
    request.send();
    window.addEventListener("resize", function () { clearTimeout(timer); timer = setTimeout(function () { if (data) { draw(); } }, 200); });
    if (dark && dark.addEventListener) { dark.addEventListener("change", function () { if (data) { draw(); } }); }
  }

  function overlay(figure) {
    return new Panels(figure, figure.getAttribute("data-overlay"), false, function (part, data) {
      return [
        { values: part.lines[0], colour: "--fire", width: 2, name: data.names[0], key: "key-one" },
        { values: part.lines[1], colour: "--idle", width: 1.5, dash: [6, 4], name: data.names[1], key: "key-other" },
      ];
    }, function (data) { return "Minutes since the flame. Whole line: " + data.names[0] + ". Broken line: " + data.names[1] + "."; });
  }

  function trend(figure) {
    return new Panels(figure, figure.getAttribute("data-trend"), true, function (part) {
      return [
        { values: part.lines.high, colour: "--idle", width: 0 },
        { values: part.lines.low, colour: "--idle", width: 0, band: true },
        { values: part.lines.middle, colour: "--fire", width: 2, points: true, name: "middle of the day", key: "key-one" },
      ];
    }, function (data) { return "Line: the middle of each day; shade: from its lowest to its highest." + (data.marks.length ? " Lines across: something was done." : ""); });
  }

  Array.prototype.forEach.call(document.querySelectorAll("[data-overlay]"), overlay);
  Array.prototype.forEach.call(document.querySelectorAll("[data-trend]"), trend);
  Array.prototype.forEach.call(document.querySelectorAll("[data-chart]"), function (figure) { return new Chart(figure); });
})();
