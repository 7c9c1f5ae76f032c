// Large number keys on the page, for hands in gloves: the keyboard of the tablet stays away, a real one works as before.
(function () {
  "use strict";
  if (!matchMedia("(pointer: coarse)").matches) { return; }
  const KEYS = ["7", "8", "9", "4", "5", "6", "1", "2", "3", "0", ".", "\u232b"];
  const SAYS = { ".": "Point", "\u232b": "Take the last figure off" };
  let shown = null;

  function press(field, key) {
    const before = field.dataset.fresh ? "" : field.value;
    delete field.dataset.fresh;
    field.value = key === "\u232b" ? before.slice(0, -1) : before + key;
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  function pad(field) {
    const keys = document.createElement("div");
    keys.className = "pad";
    keys.setAttribute("role", "group");
    keys.setAttribute("aria-label", "Number keys");
    for (const key of KEYS) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button";
      button.textContent = key;
      if (SAYS[key]) { button.setAttribute("aria-label", SAYS[key]); }
      // The field keeps the focus: the keys stand as long as it has it.
      button.addEventListener("pointerdown", function (event) { event.preventDefault(); });
      button.addEventListener("click", function () { press(field, key); });
      keys.append(button);
    }
    return keys;
  }

  for (const field of document.querySelectorAll("input[data-pad]")) {
    field.inputMode = "none";
    field.addEventListener("focus", function () {
      if (shown) { shown.remove(); }
      field.dataset.fresh = "1";
      shown = pad(field);
      (field.closest(".field") || field).after(shown);
    });
    field.addEventListener("beforeinput", function () { delete field.dataset.fresh; });
    field.addEventListener("blur", function () {
      setTimeout(function () {
        if (shown && document.activeElement !== field && !document.activeElement.matches("input[data-pad]")) { shown.remove(); shown = null; }
      });
    });
    if (document.activeElement === field) { field.blur(); field.focus(); }
  }
})();
