// A round: quantities go up and down by large buttons.
(function () {
  "use strict";
  function step(field, by) {
    const now = Number(field.value.replace(",", ".")) || 0;
    field.value = String(Math.max(0, Math.round((now + by) * 1e6) / 1e6));
    field.dispatchEvent(new Event("input", { bubbles: true }));
  }

  for (const field of document.querySelectorAll("input[data-steps]")) {
    const named = document.querySelector(`label[for="${field.id}"]`);
    for (const [sign, says, by] of [["\u2212", "One less", -1], ["+", "One more", 1]]) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button step";
      button.textContent = sign;
      button.setAttribute("aria-label", says + (named ? ": " + named.textContent.trim() : ""));
      button.addEventListener("click", function () { step(field, by); });
      if (by < 0) { field.before(button); } else { field.after(button); }
    }
    field.parentElement.classList.add("stepped");
  }
})();
