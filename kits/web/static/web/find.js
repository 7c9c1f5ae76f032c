// The key "/" goes to the search field, unless somebody is typing.
(function () {
  "use strict";
  const field = document.getElementById("find");
  if (!field) { return; }
  document.addEventListener("keydown", function (event) {
    const typing = event.target.closest("input, textarea, select, [contenteditable]");
    if (event.key !== "/" || event.ctrlKey || event.metaKey || event.altKey || typing) { return; }
    event.preventDefault();
    field.focus();
    field.select();
  });
})();
