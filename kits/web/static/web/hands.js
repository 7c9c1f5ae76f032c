// What comes within a second of a sheet, or of what was sent from it, was meant for the sheet before: it books nothing.
(function () {
  "use strict";
  const REST = 1000;
  let since = Infinity;

  function look() {
    since = Infinity;
    requestAnimationFrame(function () { since = performance.now(); });
  }

  look();
  document.addEventListener("visibilitychange", look);
  // A sheet that comes back from the past shows how things stood then: it is fetched anew.
  window.addEventListener("pageshow", function (event) {
    if (event.persisted) { window.location.reload(); }
  });
  document.addEventListener("submit", function (event) {
    if (!event.target.elements.namedItem("key")) { return; }
    if (performance.now() - since < REST) { event.preventDefault(); return; }
    since = performance.now();
  });
})();
