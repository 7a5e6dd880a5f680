/* Live updates: replaces the parts of the page that changed and keeps every age true. Plain old JavaScript. */
(function () {
  "use strict";
  var body = document.body;
  var made = Number(body.getAttribute("data-now"));
  var ahead = reckon(made); // host clock minus ours
  var source = body.getAttribute("data-live");
  var lastWord = Date.now();

  /* A page that was kept for when the host is away is not of this moment: then what the last fresh one said counts. */
  function reckon(told) {
    var ahead = told - Date.now(), last = null;
    try {
      last = JSON.parse(localStorage.getItem("sootline-clock"));
      if (last && last.told >= told) { return last.ahead; }
      localStorage.setItem("sootline-clock", JSON.stringify({ told: told, ahead: ahead }));
    } catch (error) { /* no storage here */ }
    return ahead;
  }

  function now() { return Date.now() + ahead; }

  function duration(seconds) {
    var s = Math.max(0, Math.floor(seconds));
    if (s < 60) { return s + " s"; }
    var minutes = Math.floor(s / 60);
    if (minutes < 60) { return minutes + " min"; }
    var hours = Math.floor(minutes / 60);
    minutes %= 60;
    if (hours < 24) { return minutes && hours < 10 ? hours + " h " + minutes + " min" : hours + " h"; }
    var days = Math.floor(hours / 24);
    hours %= 24;
    var text = days === 1 ? "1 day" : days + " days";
    return hours && days < 3 ? text + " " + hours + " h" : text;
  }

  function age(seconds) { return seconds < 1 ? "now" : duration(seconds) + " ago"; }

  function each(list, act) { Array.prototype.forEach.call(list, act); }

  function closest(node, name) {
    while (node && node.classList && !node.classList.contains(name)) { node = node.parentNode; }
    return node && node.classList ? node : null;
  }

  function setText(node, text) { if (node.textContent !== text) { node.textContent = text; } }

  function tick() {
    var t = now();
    each(document.querySelectorAll("[data-age]"), function (node) {
      var seconds = (t - Number(node.getAttribute("data-age"))) / 1000;
      setText(node, age(seconds));
      var gauge = closest(node, "gauge");
      if (gauge && seconds > Number(gauge.getAttribute("data-old-after"))) { gauge.classList.add("old"); }
    });
    each(document.querySelectorAll("[data-for]"), function (node) {
      setText(node, duration((t - Number(node.getAttribute("data-for"))) / 1000));
    });
    if (stream && !document.hidden) { showLost(Date.now() - lastWord > 25000); }
  }

  function showLost(lost) {
    var bar = document.getElementById("lost");
    if (bar.hidden !== lost) { return; }
    if (lost) {
      var at = new Date(lastWord);
      var clock = ("0" + at.getHours()).slice(-2) + ":" + ("0" + at.getMinutes()).slice(-2);
      bar.textContent = "No contact with the sootline host since " + clock + ". Everything here is old. Trying again.";
    }
    bar.hidden = !lost;
    body.classList[lost ? "add" : "remove"]("lost-contact");
  }

  function fillForms(root) {
    var by = body.getAttribute("data-by");
    each(root.querySelectorAll("form.acknowledge"), function (form) {
      form.elements.token.value = body.getAttribute("data-token");
      if (form.elements.back) { form.elements.back.value = location.pathname; }
      if (by && form.elements.by && !form.elements.by.value) { form.elements.by.value = by; }
    });
  }

  /* Replace the inside of a part, but keep what a person has opened, typed or stands on. */
  function replace(part, html) {
    var active = document.activeElement;
    var id = active && part.contains(active) ? active.id : "";
    var typed = id && active.value !== undefined ? active.value : null;
    var open = [];
    each(part.querySelectorAll("details[open]"), function (node) { if (node.id) { open.push(node.id); } });
    part.innerHTML = html;
    fillForms(part);
    open.forEach(function (name) {
      var node = document.getElementById(name);
      if (node) { node.open = true; }
    });
    var again = id && document.getElementById(id);
    if (again) {
      if (typed !== null) { again.value = typed; }
      again.focus();
    }
  }

  function show(parts) {
    if (parts.furnaces !== undefined) {
      var known = body.getAttribute("data-furnaces");
      if (known !== null && known !== parts.furnaces) { location.reload(); return; }
    }
    if (parts.title) { document.title = parts.title; }
    each(document.querySelectorAll("[data-part]"), function (part) {
      var html = parts[part.getAttribute("data-part")];
      if (html === undefined || part.sootlineHtml === html) { return; }
      part.sootlineHtml = html;
      replace(part, html);
      var doing = part.querySelector(".doing");
      var plate = doing && part.parentNode;
      if (plate && /flue-/.test(plate.className)) {
        plate.className = plate.className.replace(/flue-\w+/, "flue-" + doing.className.replace(/.*doing-(\w+).*/, "$1"));
      }
    });
    tick();
  }

  function heard(event) {
    var data = JSON.parse(event.data);
    ahead = data.now - Date.now();
    lastWord = Date.now();
    showLost(false);
    if (data.parts) { show(data.parts); }
  }

  /* Browsers allow few open connections to a host, so a page that nobody looks at lets its own go after a minute. */
  var stream = null, closing;

  function listen() {
    stream = new EventSource(source);
    stream.addEventListener("parts", heard);
    stream.addEventListener("beat", heard);
    stream.addEventListener("error", function () { setTimeout(look, 3000); });
  }

  /* A browser tries again by itself when the host is away, but not after an answer that is no stream: from a proxy
     whose host is away, or because this person may not look any more. Then ask which. */
  function look() {
    if (!stream || stream.readyState !== 2) { return; }
    var ask = new XMLHttpRequest();
    ask.open("HEAD", source);
    ask.onloadend = function () {
      if (ask.status === 401 || ask.status === 403 || ask.status === 404) { location.reload(); }
      else if (ask.status === 200) { listen(); }
      else { setTimeout(look, 3000); }
    };
    ask.send();
  }

  if (source && window.EventSource) {
    listen();
    document.addEventListener("visibilitychange", function () {
      clearTimeout(closing);
      if (document.hidden) {
        closing = setTimeout(function () { stream.close(); stream = null; }, 60000);
      } else if (!stream) {
        lastWord = Date.now();
        listen();
      }
    });
  } else {
    source = null;
  }

  /* What comes next is reckoned from the whole season: the page does not wait for it. */
  var next = document.querySelector("[data-next]");
  if (next) {
    var reckoned = new XMLHttpRequest();
    reckoned.open("GET", next.getAttribute("data-next"));
    reckoned.onload = function () { if (reckoned.status === 200) { next.innerHTML = reckoned.responseText; } };
    reckoned.send();
  }
  window.sootline = { age: age, duration: duration, now: now };
  fillForms(document);
  tick();
  setInterval(tick, 1000);
})();
