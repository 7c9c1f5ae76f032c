// Photos are made smaller before they are sent: a camera writes more than anybody looks at, and a shop's network is slow.
(function () {
  "use strict";
  const LONGEST = 1600;
  const GOOD_ENOUGH = 400 * 1024;

  async function shrunk(file) {
    if (!file.type.startsWith("image/") || file.size <= GOOD_ENOUGH) { return file; }
    const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
    const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    const small = await new Promise(function (done) { canvas.toBlob(done, "image/jpeg", 0.85); });
    return small ? new File([small], file.name.replace(/\.\w+$/, "") + ".jpg", { type: "image/jpeg" }) : file;
  }

  document.addEventListener("change", async function (event) {
    const field = event.target;
    if (!(field instanceof HTMLInputElement) || !("shrink" in field.dataset) || !window.createImageBitmap) { return; }
    const button = field.form.querySelector("button");
    button.disabled = true;
    try {
      const sent = new DataTransfer();
      for (const file of await Promise.all(Array.from(field.files, shrunk))) { sent.items.add(file); }
      field.files = sent.files;
    } catch {
      // What this browser cannot read goes as it is, and the shop says what it thinks of it.
    } finally {
      button.disabled = false;
    }
  });
})();
