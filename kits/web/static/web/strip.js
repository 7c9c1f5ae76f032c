// What was tapped on a strip report stays on the tablet until it is stored: a lost connection or a closed page loses none.
(function () {
  "use strict";
  const BETWEEN = "\u001f";

  function form() { return document.getElementById("strip-form"); }
  function nameOfDraft() { return "strip " + location.pathname + " " + form().elements.section.value; }
  function keys() {
    return Array.from(form().querySelectorAll('input[type="hidden"][name^="s"]'), function (one) { return one.name.slice(1); })
      .filter(function (key) { return form().elements["v" + key]; });
  }
  function alone(key) { return form().elements["a" + key]; }
  function read(key) {
    const all = form().elements;
    return [all["v" + key].value, all["f" + key].value, all["m" + key].value, alone(key) && alone(key).checked ? "alone" : ""];
  }
  function changed() {
    return keys().filter(function (key) { return read(key).join(BETWEEN) !== form().elements["s" + key].value; });
  }

  // A browser may refuse to keep anything: then the taps live as long as the page.
  function keep(draft) {
    try {
      if (draft) { localStorage.setItem(nameOfDraft(), JSON.stringify(draft)); } else { localStorage.removeItem(nameOfDraft()); }
    } catch (error) { /* nothing is kept */ }
  }
  function kept() {
    try { return JSON.parse(localStorage.getItem(nameOfDraft())) || {}; } catch (error) { return {}; }
  }

  function count() {
    const many = changed().length;
    document.getElementById("store").textContent =
      many ? "Store " + many + (many === 1 ? " position" : " positions") : "Store what was tapped";
  }

  function tapped() {
    const draft = {};
    changed().forEach(function (key) { draft[key] = { shown: form().elements["s" + key].value, says: read(key) }; });
    keep(Object.keys(draft).length ? draft : null);
    count();
  }

  function open() {
    if (!form()) { return; }
    const draft = kept();
    const back = keys().filter(function (key) {
      return draft[key] && draft[key].shown === form().elements["s" + key].value && !changed().includes(key);
    });
    back.forEach(function (key) {
      const says = draft[key].says, all = form().elements;
      all["v" + key].value = says[0];
      all["f" + key].value = says[1];
      all["m" + key].value = says[2];
      if (alone(key)) { alone(key).checked = says[3] === "alone"; }
      const fold = document.getElementById("position-" + key).closest("details");
      if (fold) { fold.open = true; }
    });
    if (back.length) {
      const says = document.getElementById("kept-taps");
      says.textContent = back.length + (back.length === 1 ? " position" : " positions") +
        " as you tapped it, not stored yet: look at it, then store it.";
      says.hidden = false;
    }
    form().addEventListener("change", tapped);
    form().addEventListener("input", tapped);
    count();
  }

  function ours(event) { return form() && event.detail.requestConfig && event.detail.requestConfig.elt === form(); }
  function lost(event) { if (ours(event)) { document.getElementById("not-sent").hidden = false; window.scrollTo(0, 0); } }

  document.addEventListener("htmx:beforeSwap", function (event) {
    if (!ours(event)) { return; }
    const status = event.detail.xhr.status;
    // What was refused comes back as the same sheet, with the reason on it.
    if (status === 409 || status === 422) { event.detail.shouldSwap = true; event.detail.isError = false; }
    if (status === 200) { keep(null); }
  });
  document.addEventListener("htmx:afterSwap", function (event) { if (event.detail.target.id === "sheet") { open(); } });
  document.addEventListener("htmx:sendError", lost);
  document.addEventListener("htmx:timeout", lost);
  document.addEventListener("htmx:responseError", lost);
  open();
})();
