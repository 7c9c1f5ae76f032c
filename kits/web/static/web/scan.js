// A scanner types like a hand, only faster. What comes at its pace, ends with Enter and goes into no field leads to what
// was scanned; into a field it goes as if it were typed there.
(function () {
  "use strict";
  const PACE = 50;
  const BREAK = 250;
  const SHORTEST = 3;
  const where = document.body.dataset.scan;
  if (!where) { return; }
  let typed = "";
  let first = 0;
  let last = -Infinity;

  // A sheet that works with scans takes them itself: into the field that its form names.
  document.body.addEventListener("scanned", function (event) {
    const form = document.querySelector("form[data-scans]");
    if (!form || event.defaultPrevented) { return; }
    event.preventDefault();
    form.elements.namedItem(form.dataset.scans).value = event.detail;
    form.requestSubmit();
  });

  document.addEventListener("keydown", function (event) {
    if (event.ctrlKey || event.metaKey || event.altKey || event.target.closest("input, textarea, [contenteditable]")) { return; }
    // When the key was pressed, not when a busy page came to it; one key may be late, the code as a whole is not.
    const now = event.timeStamp;
    const gap = now - last;
    if (event.key.length === 1) {
      if (gap > BREAK) { typed = ""; first = now; }
      last = now;
      typed += event.key;
      // A space or a slash at that pace belongs to the code: it neither taps the button that has the focus nor scrolls.
      if (typed.length > 1 && gap <= PACE) { event.preventDefault(); event.stopPropagation(); }
      return;
    }
    const paced = gap <= BREAK && last - first <= PACE * (typed.length - 1);
    if (event.key !== "Enter" || typed.length < SHORTEST || !paced) { return; }
    event.preventDefault();
    event.stopPropagation();
    const scanned = new CustomEvent("scanned", { bubbles: true, cancelable: true, detail: typed });
    typed = "";
    if (document.body.dispatchEvent(scanned)) { window.location.assign(where + "?code=" + encodeURIComponent(scanned.detail)); }
  }, true);
})();
