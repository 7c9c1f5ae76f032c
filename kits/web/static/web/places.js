// A label of a bin that is scanned where a place is asked for chooses that place: in the field that has the focus, else in
// the first one that is still empty. Another label leads to its sheet, but not away from what was typed.
(function () {
  "use strict";
  const ASKED = "select[data-places]";
  const where = document.body.dataset.places;
  let touched = false;
  document.addEventListener("input", function () { touched = true; });

  function wanted() {
    if (document.activeElement.matches(ASKED)) { return document.activeElement; }
    const shown = [...document.querySelectorAll(ASKED)].filter(function (one) { return one.offsetParent; });
    return shown.find(function (one) { return !one.value; }) || shown[0];
  }

  function say(field, words) {
    const id = field.id + "-scan";
    const note = document.getElementById(id) || document.createElement("p");
    note.id = id;
    note.className = "wrong";
    note.setAttribute("role", "alert");
    note.textContent = words;
    field.after(note);
  }

  document.body.addEventListener("scanned", async function (event) {
    const field = wanted();
    if (!field || event.defaultPrevented) { return; }
    event.preventDefault();
    try {
      const answer = await fetch(where + "?code=" + encodeURIComponent(event.detail), { credentials: "same-origin" });
      const said = await answer.json();
      if (said.refused && !touched) {
        window.location.assign(document.body.dataset.scan + "?code=" + encodeURIComponent(event.detail));
        return;
      }
      if (said.refused) { say(field, said.refused); return; }
      field.value = String(said.place);
      say(field, field.value ? "" : "That place is not one to choose here.");
      field.dispatchEvent(new Event("change", { bubbles: true }));
    } catch (error) {
      say(field, "Not read: there is no connection to the server. Choose the place from the list.");
    }
  });
})();
