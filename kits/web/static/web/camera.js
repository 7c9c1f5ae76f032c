// The camera of a tablet as a scanner. Where the browser reads codes itself, and the page came by a safe way, the picture
// is read as it moves; else a photo is taken and read on the server. What was read counts as if a scanner had typed it.
(function () {
  "use strict";
  const live = "BarcodeDetector" in window && window.isSecureContext && navigator.mediaDevices;
  const EVERY = 200;

  function announce(code) {
    const scanned = new CustomEvent("scanned", { bubbles: true, cancelable: true, detail: code });
    const where = document.body.dataset.scan;
    if (document.body.dispatchEvent(scanned)) { window.location.assign(where + "?code=" + encodeURIComponent(code)); }
  }

  function say(form, words) {
    const note = form.querySelector("[role=alert]") || form.appendChild(document.createElement("p"));
    note.className = "wrong";
    note.setAttribute("role", "alert");
    note.textContent = words;
  }

  async function send(form) {
    say(form, "Reading …");
    try {
      const answer = await fetch(form.dataset.camera, {
        method: "POST", body: new FormData(form), credentials: "same-origin", headers: { "X-Sent-By-Page": "1" },
      });
      const said = await answer.json();
      if (said.code) { say(form, ""); announce(said.code); } else { say(form, said.refused); }
    } catch (error) {
      say(form, "Not read: there is no connection to the server. Take the photo again, or scan.");
    }
    form.reset();
  }

  async function look(form) {
    const frame = document.createElement("dialog");
    const video = document.createElement("video");
    const leave = document.createElement("button");
    frame.className = "camera-view";
    frame.setAttribute("aria-label", "Camera");
    video.playsInline = true;
    video.muted = true;
    leave.type = "button";
    leave.className = "button";
    leave.textContent = "No photo";
    frame.append(video, leave);
    document.body.append(frame);
    let stream = null;
    try {
      stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
    } catch (error) {
      frame.remove();
      say(form, "The camera may not be used: allow it in the browser, or scan.");
      return;
    }
    video.srcObject = stream;
    frame.showModal();
    await video.play();
    const reader = new window.BarcodeDetector({ formats: ["qr_code", "code_128"] });
    leave.addEventListener("click", function () { frame.close(); });
    frame.addEventListener("close", function () {
      for (const track of stream.getTracks()) { track.stop(); }
      frame.remove();
    });
    while (frame.open) {
      const found = await reader.detect(video).catch(function () { return []; });
      if (frame.open && found.length === 1) {
        frame.close();
        announce(found[0].rawValue);
        return;
      }
      await new Promise(function (resolve) { setTimeout(resolve, EVERY); });
    }
  }

  for (const form of document.querySelectorAll("form[data-camera]")) {
    const photo = form.elements.namedItem("photo");
    form.querySelector("button[type=submit]").remove();
    form.classList.add("reads");
    if (live) {
      form.hidden = false;
      photo.addEventListener("click", function (event) { event.preventDefault(); look(form); });
    } else {
      photo.addEventListener("change", function () { if (photo.files.length) { send(form); } });
    }
  }
})();
