/* Log entries: kept in this browser until the host has them, sent by themselves, each once. Plain old JavaScript. */
(function () {
  "use strict";
  var PREFIX = "sootline-entry-", FORM = "sootline-form", SIDE = 1600;
  var body = document.body, busy = false, signedOut = false;

  function each(list, act) { Array.prototype.forEach.call(list, act); }

  /* Storage of this browser; null where there is none, and then the form is an ordinary one. */
  var store = (function () {
    try {
      localStorage.setItem("sootline-try", "1");
      localStorage.removeItem("sootline-try");
      return localStorage;
    } catch (error) { return null; }
  })();

  function newId() {
    var bytes = [], i;
    if (window.crypto && crypto.getRandomValues) {
      bytes = crypto.getRandomValues(new Uint8Array(16));
    } else {
      for (i = 0; i < 16; i++) { bytes.push(Math.floor(Math.random() * 256)); }
    }
    return Array.prototype.map.call(bytes, function (b) { return ("0" + b.toString(16)).slice(-2); }).join("");
  }

  /* What waits, the oldest first. One key an entry, so that two pages never write over each other. */
  function waiting() {
    var found = [], i, key;
    for (i = 0; store && i < store.length; i++) {
      key = store.key(i);
      if (key.indexOf(PREFIX) === 0) {
        try { found.push(JSON.parse(store.getItem(key))); } catch (error) { /* removed meanwhile by another page */ }
      }
    }
    return found.filter(Boolean).sort(function (a, b) { return a.tapped - b.tapped; });
  }

  function keep(entry) { store.setItem(PREFIX + entry.id, JSON.stringify(entry)); }

  function request(method, url, data, done) {
    var ask = new XMLHttpRequest();
    ask.open(method, url);
    ask.setRequestHeader("Accept", "application/json");
    ask.timeout = 20000;
    ask.onload = function () {
      var answer = null;
      try { answer = JSON.parse(ask.responseText); } catch (error) { /* a page: signed out, or something between */ }
      done(ask.status, answer);
    };
    ask.onerror = ask.ontimeout = ask.onabort = function () { done(0, null); };
    ask.send(data);
  }

  function blobOf(url) {
    var text = atob(url.split(",")[1]), bytes = new Uint8Array(text.length), i;
    for (i = 0; i < text.length; i++) { bytes[i] = text.charCodeAt(i); }
    return new Blob([bytes], { type: "image/jpeg" });
  }

  function send(entry, token, done) {
    var form = new FormData();
    form.append("token", token);
    form.append("id", entry.id);
    form.append("tapped", String(entry.tapped));
    entry.fields.forEach(function (field) { form.append(field[0], field[1]); });
    if (entry.photo) { form.append("photo", blobOf(entry.photo), "photo.jpg"); }
    request("POST", "/log", form, done);
  }

  /* Send all that waits. `after(kept)` gets the address of each entry the host has, by its id. */
  function flush(after) {
    var kept = {}, list = waiting().filter(function (entry) { return !entry.refused; });
    if (busy || !list.length) { if (after) { after(kept); } return; }
    busy = true;
    function finish() { busy = false; showQueue(); if (after) { after(kept); } }
    request("GET", "/log/token", null, function (status, answer) {
      signedOut = status === 401 || status === 403;
      if (status !== 200 || !answer) { finish(); return; }
      (function next() {
        var entry = list.shift();
        if (!entry) { finish(); return; }
        send(entry, answer.token, function (status, said) {
          if (status === 200 && said && said.kept) {
            store.removeItem(PREFIX + entry.id);
            kept[entry.id] = said.kept;
          } else if (said && said.refused && status !== 403 && status !== 503) {
            if (store.getItem(PREFIX + entry.id)) { entry.refused = said.refused; keep(entry); }
          } else { finish(); return; }
          next();
        });
      })();
    });
  }

  function make(name, text, parent) {
    var node = document.createElement(name);
    node.textContent = text;
    parent.appendChild(node);
    return node;
  }

  function showQueue() {
    var place = document.getElementById("queue"), list = waiting();
    if (!place) { return; }
    place.hidden = !list.length;
    place.textContent = "";
    if (!list.length) { return; }
    var sure = list.length === 1 ? "1 entry waits on this phone." : list.length + " entries wait on this phone.";
    make("p", sure + (signedOut ? " Sign in, then it goes to the host." : " It goes to the host by itself."), place);
    var lines = make("ul", "", place);
    list.forEach(function (entry) {
      var line = make("li", entry.words + (entry.refused ? ": refused. " + entry.refused : ""), lines);
      var out = make("button", "Take it out", line);
      out.type = "button";
      out.setAttribute("aria-label", "Take out: " + entry.words);
      out.onclick = function () { store.removeItem(PREFIX + entry.id); showQueue(); };
    });
  }

  /* The form */

  function chosen(form, name) {
    var found = null;
    each(form.querySelectorAll("input[name=" + name + "]"), function (input) { if (input.checked) { found = input; } });
    return found;
  }

  function showKind(form) {
    var kind = chosen(form, "kind");
    each(form.querySelectorAll("[data-kind]"), function (part) {
      part.hidden = !kind || part.getAttribute("data-kind") !== kind.value;
      if (!part.hidden) { part.open = true; }
    });
  }

  function prefill(form, query) {
    query.replace(/^\?/, "").split("&").forEach(function (pair) {
      var at = pair.indexOf("="), name = pair.slice(0, at);
      var value = "";
      try { value = decodeURIComponent(pair.slice(at + 1).replace(/\+/g, " ")); } catch (error) { return; }
      if (name === "furnace" || name === "kind") {
        each(form.querySelectorAll("input[name=" + name + "]"), function (input) {
          if (input.value === value) { input.checked = true; }
        });
      } else if (name === "thing" && value) {
        form.elements.thing.value = value.slice(0, 40);
        document.getElementById("thing").hidden = false;
      }
    });
  }

  function fieldsOf(form) {
    var fields = [], kind = chosen(form, "kind");
    each(form.elements, function (input) {
      var part = input.parentNode;
      while (part !== form && !(part.getAttribute && part.getAttribute("data-kind"))) { part = part.parentNode; }
      if (part !== form && part.getAttribute("data-kind") !== kind.value) { return; } // tapped for another kind
      if (!input.name || input.name === "token" || input.name === "id" || input.type === "file") { return; }
      if ((input.type === "radio" || input.type === "checkbox") && !input.checked) { return; }
      fields.push([input.name, input.value]);
    });
    return fields;
  }

  function wordsOf(form) {
    function label(input) { return input.parentNode.textContent.trim(); }
    return label(chosen(form, "kind")) + " · " + label(chosen(form, "furnace"));
  }

  /* The photo made small, as a data address; the camera's own notes stay behind. */
  function shrink(file, done) {
    if (!file) { done(null); return; }
    createImageBitmap(file).then(function (picture) {
      var scale = Math.min(1, SIDE / Math.max(picture.width, picture.height));
      var canvas = document.createElement("canvas");
      canvas.width = Math.max(1, Math.round(picture.width * scale));
      canvas.height = Math.max(1, Math.round(picture.height * scale));
      canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
      done(canvas.toDataURL("image/jpeg", 0.8));
    }, function () { done(null, "That photo cannot be read. Choose another one, or none."); });
  }

  function setUp(form, query) {
    var said = document.getElementById("entry-said"), sending = false;
    form.elements.id.value = newId();
    prefill(form, query);
    showKind(form);
    form.addEventListener("change", function () { showKind(form); });
    form.addEventListener("submit", function (event) {
      var file = form.elements.photo.files && form.elements.photo.files[0];
      if (!store || (file && !window.createImageBitmap)) { return; } // an ordinary form then
      event.preventDefault();
      if (sending || !chosen(form, "kind") || !chosen(form, "furnace")) { return; }
      sending = true;
      var entry = { id: newId(), tapped: Math.round(window.sootline.now()), fields: fieldsOf(form), words: wordsOf(form) };
      var name = form.elements.by.value;
      shrink(file, function (photo, trouble) {
        if (trouble) { said.textContent = trouble; sending = false; return; }
        entry.photo = photo;
        try { keep(entry); } catch (error) {
          said.textContent = "There is no room left on this phone for it. Leave the photo out.";
          sending = false;
          return;
        }
        said.textContent = "Kept on this phone. Sending it …";
        var late = setTimeout(function () { again(); }, 5000);
        function again() {
          sending = false;
          form.reset();
          form.elements.by.value = name;
          prefill(form, query);
          showKind(form);
          showQueue();
          said.textContent = "Kept on this phone. It goes to the host by itself as soon as that answers.";
          late = null;
        }
        (function go() {
          if (busy) { setTimeout(go, 200); return; }
          flush(function (kept) {
            if (!late) { return; } // too late to lead anybody away from what he does now
            clearTimeout(late);
            if (kept[entry.id]) { location.assign(kept[entry.id]); } else { again(); }
          });
        })();
      });
    });
  }

  /* Any open page can take an entry while the host is away: the form is fetched once a day and kept. */
  function remember() {
    if (/role-(viewer|nobody)/.test(body.className)) { return; }
    var kept;
    try { kept = JSON.parse(store.getItem(FORM)); } catch (error) { kept = null; }
    if (kept && Math.abs(Date.now() - kept.at) < 86400000 && kept.of === body.getAttribute("data-version")) { return; }
    var ask = new XMLHttpRequest();
    ask.open("GET", "/log/away");
    ask.onload = function () {
      var part = ask.status === 200 && new DOMParser().parseFromString(ask.responseText, "text/html");
      if (!part || !part.getElementById("entry")) { return; }
      try {
        store.setItem(FORM, JSON.stringify({
          at: Date.now(), of: body.getAttribute("data-version"), html: part.getElementById("main").innerHTML
        }));
      } catch (error) { /* no room: then only an open log page takes entries */ }
    };
    ask.send();
  }

  function openKept(query) {
    var kept;
    try { kept = JSON.parse(store.getItem(FORM)); } catch (error) { kept = null; }
    if (!kept) { return false; }
    document.getElementById("main").innerHTML = kept.html;
    setUp(document.getElementById("entry"), query);
    window.scrollTo(0, 0);
    return true;
  }

  document.addEventListener("click", function (event) {
    var link = event.target;
    while (link && link.nodeName !== "A") { link = link.parentNode; }
    if (!link || link.pathname !== "/log" || !store) { return; }
    var away = navigator.onLine === false || body.classList.contains("lost-contact");
    if (away && openKept(link.search)) { event.preventDefault(); }
  });

  var form = document.getElementById("entry");
  if (form) { setUp(form, location.search); }
  if (store) {
    showQueue();
    flush();
    setInterval(function () { flush(); }, 10000);
    window.addEventListener("online", function () { flush(); });
    window.addEventListener("storage", function () { showQueue(); });
    if (!document.getElementById("away")) { setTimeout(remember, 3000); }
  }
  if (navigator.serviceWorker) { navigator.serviceWorker.register("/keeper.js").catch(function () { /* not here */ }); }
})();
