// A scanner types like a hand, only faster. What comes at its pace, ends with Enter and goes into no field leads to what
// was scanned; into a field it goes as if it were typed there.
(function () {
  "use strict";
  const PACE = 50;
  const SHORTEST = 3;
  const where = document.body.dataset.scan;
  if (!where) { return; }
  let typed = "";
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
    const now = performance.now();
    if (now - last > PACE) { typed = ""; }
    last = now;
    if (event.key.length === 1) {
      typed += event.key;
      // A space or a slash at that pace belongs to the code: it neither taps the button that has the focus nor scrolls.
      if (typed.length > 1) { event.preventDefault(); event.stopPropagation(); }
      return;
    }
    if (event.key !== "Enter" || typed.length < SHORTEST) { return; }
    event.preventDefault();
    event.stopPropagation();
    const scanned = new CustomEvent("scanned", { bubbles: true, cancelable: true, detail: typed });
    typed = "";
    if (document.body.dispatchEvent(scanned)) { window.location.assign(where + "?code=" + encodeURIComponent(scanned.detail)); }
  }, true);
})();
