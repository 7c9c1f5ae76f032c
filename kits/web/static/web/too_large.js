// Files that are more than the site reads are told before they are sent: a proxy would end the sending without a word.
document.addEventListener("change", function (event) {
  "use strict";
  const field = event.target;
  if (!field.dataset || !field.dataset.mostMb) { return; }
  const megabytes = Array.from(field.files).reduce(function (sum, file) { return sum + file.size; }, 0) / 1048576;
  const most = Number(field.dataset.mostMb);
  field.setCustomValidity(megabytes <= most ? "" : `The files have ${Math.ceil(megabytes)} MB, more than the ${most} that are read`
    + " at once: upload them one by one, or split the workbook by sheet.");
  field.reportValidity();
});
