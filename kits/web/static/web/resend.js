// What could not be sent says so, is kept on this tablet, and is sent again by itself under the key it had: the server
// books a key once, however often it comes.
(function () {
  "use strict";
  const KEPT = "not-sent";
  const AGAIN = 4000;
  const LONGEST = 20000;
  let waiting = 0;

  function kept() {
    try { return JSON.parse(sessionStorage.getItem(KEPT)); } catch (error) { return null; }
  }

  function say(words, again) {
    let note = document.getElementById(KEPT);
    if (!note) {
      note = document.createElement("div");
      note.id = KEPT;
      note.className = "message";
      note.setAttribute("role", "alert");
      document.querySelector(".sheet-body").prepend(note);
    }
    note.replaceChildren(document.createTextNode(words + " "));
    if (again) {
      const button = document.createElement("button");
      button.type = "button";
      button.className = "button";
      button.textContent = "Send it now";
      button.addEventListener("click", again);
      note.append(button);
    }
  }

  // What was booked leads on as the server says; what was refused stands in place of this page, with all that was typed.
  async function show(answer) {
    const next = answer.headers.get("X-Goes-To");
    if (next) { location.assign(next); return; }
    const page = await answer.text();
    document.open();
    document.write(page);
    document.close();
  }

  async function send() {
    const what = kept();
    if (!what) { return; }
    clearTimeout(waiting);
    try {
      const answer = await fetch(what.action, {
        method: "POST", body: new URLSearchParams(what.fields), credentials: "same-origin",
        headers: { "X-Sent-By-Page": "1" },
        signal: AbortSignal.timeout(LONGEST),
      });
      if (answer.status === 502 || answer.status === 504) { throw new TypeError("nobody answers"); }
      sessionStorage.removeItem(KEPT);
      await show(answer);
    } catch (error) {
      say("Not sent: there is no connection to the server. What you booked is kept here and is sent again by itself; "
        + "it counts once. Stay on this page.", send);
      waiting = setTimeout(send, AGAIN);
    }
  }

  document.addEventListener("submit", function (event) {
    const form = event.target;
    if (event.defaultPrevented || form.dataset.resend === undefined) { return; }
    event.preventDefault();
    if (kept()) { return; }
    const fields = [...new FormData(form, event.submitter).entries()].map(([name, value]) => [name, String(value)]);
    sessionStorage.setItem(KEPT, JSON.stringify({ action: form.action, fields: fields }));
    send();
  });
  window.addEventListener("online", send);
  send();
})();
