/* The service worker, where browsers allow one (HTTPS, or the machine itself): the log form opens without the host. */
"use strict";
var NAME = "sootline-" + FILES.join(" ").replace(/[^0-9a-f]/g, "").slice(0, 60);
var FORM = "/log/away";
var PATIENCE_MS = 4000;

function renew() {
  return caches.open(NAME).then(function (cache) {
    return fetch(FORM, { credentials: "same-origin" }).then(function (answer) {
      return answer.ok && !answer.redirected ? cache.put(FORM, answer) : undefined;
    });
  });
}

self.addEventListener("install", function (event) {
  event.waitUntil(caches.open(NAME).then(function (cache) { return cache.addAll(FILES); }).then(renew));
  self.skipWaiting();
});

self.addEventListener("activate", function (event) {
  event.waitUntil(caches.keys().then(function (names) {
    return Promise.all(names.map(function (name) { return name === NAME ? null : caches.delete(name); }));
  }).then(function () { return self.clients.claim(); }));
});

function kept() {
  return caches.match(FORM).then(function (answer) { return answer || Response.error(); });
}

/* The page of the log: from the host, or the kept form when the host is slow or gone. */
function logPage(event) {
  return new Promise(function (resolve) {
    var late = setTimeout(function () { kept().then(resolve); }, PATIENCE_MS);
    fetch(event.request).then(function (answer) {
      clearTimeout(late);
      if (answer.ok) { event.waitUntil(renew().catch(function () {})); }
      resolve(answer);
    }, function () { clearTimeout(late); kept().then(resolve); });
  });
}

self.addEventListener("fetch", function (event) {
  var url = new URL(event.request.url);
  if (event.request.method !== "GET" || url.origin !== location.origin) { return; }
  if (event.request.mode === "navigate" && url.pathname === "/log") {
    event.respondWith(logPage(event));
  } else if (FILES.indexOf(url.pathname) >= 0) {
    event.respondWith(caches.match(event.request).then(function (answer) { return answer || fetch(event.request); }));
  }
});
