// What comes within a second of a sheet, or of what was sent from it, was meant for the sheet before: it books nothing.
(function () {
  "use strict";
  const REST = 1000;
  let since = Infinity;
  let sent = false;

  // From the moment at which the sheet can be seen; its buttons rest as long (forms.css), anew each time.
  function look() {
    since = Infinity;
    requestAnimationFrame(function () { since = performance.now(); });
  }

  function lookAgain() {
    document.documentElement.classList.toggle("looked-again");
    look();
  }

  look();
  document.addEventListener("visibilitychange", function () { if (!document.hidden) { lookAgain(); } });
  // A sheet that comes back from the past: one that was sent from shows how things stood then, and is fetched anew.
  window.addEventListener("pageshow", function (event) {
    if (!event.persisted) { return; }
    if (sent) { window.location.reload(); } else { lookAgain(); }
  });
  // On a slow network the button says that it was pressed, until the answer is here.
  let pressed = null;
  function wait(button) {
    if (pressed) { pressed.removeAttribute("aria-busy"); }
    if (button) { button.setAttribute("aria-busy", "true"); }
    pressed = button;
  }
  document.addEventListener("htmx:afterRequest", function () { wait(null); });

  document.addEventListener("submit", function (event) {
    if (!event.target.elements.namedItem("key")) { return; }
    // A scan is of a label in the hand: it need not have been on the sheet.
    const atOnce = event.target.dataset.atOnce !== undefined;
    if (!atOnce && performance.now() - since < REST) { event.preventDefault(); return; }
    if (!atOnce) { since = performance.now(); }
    sent = true;
    wait(event.submitter);
  });
})();
