// Entries made while the network is down wait on this device and are sent in their order when it is back.
(function () {
  "use strict";
  const KEY = "cakewright.waiting", bar = document.getElementById("waiting");
  if ("serviceWorker" in navigator) navigator.serviceWorker.register("/worker.js").catch(() => { /* then only without a net */ });
  if (!bar) return;
  let sending = false;

  const read = () => { try { return JSON.parse(localStorage.getItem(KEY)) || []; } catch (e) { return []; } };
  const write = (list) => { localStorage.setItem(KEY, JSON.stringify(list)); tell(); }; // throws when the device is full

  function tell() {
    const list = read(), bad = list.filter((one) => one.refused), open = list.length - bad.length;
    bar.hidden = !list.length;
    bar.replaceChildren();
    if (open) bar.append((open === 1 ? say("1 entry is kept on this device and not sent yet.") : say("{n} entries are kept on this device and not sent yet.", { n: open })) + " ");
    for (const one of bad) {
      const row = document.createElement("span"), drop = document.createElement("button");
      row.textContent = "Refused: " + one.refused + " ";
      drop.type = "button"; drop.textContent = say("I have seen it");
      drop.addEventListener("click", () => write(read().filter((o) => o.uid !== one.uid)));
      bar.append(row, drop);
    }
  }

  function keep(path, pairs) {
    const uid = "d-" + Date.now().toString(36) + "-" + Math.random().toString(36).slice(2, 10);
    const given = pairs.filter(([name]) => name !== "when" && name !== "uid");
    write([...read(), { uid, path, pairs: [...given, ["when", new Date().toISOString()], ["uid", uid]] }]);
  }

  async function send() {
    if (sending) return;
    sending = true;
    let sent = 0;
    try {
      for (;;) {
        const one = read().find((o) => !o.refused);
        if (!one) break;
        const answer = await fetch(one.path, { method: "POST", body: new URLSearchParams(one.pairs) });
        if (answer.ok) { write(read().filter((o) => o.uid !== one.uid)); sent += 1; continue; }
        if (answer.status >= 500) break; // the server is in trouble: try later
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        const why = page.querySelector("main .big") || page.querySelector("main");
        write(read().map((o) => (o.uid === one.uid ? { ...o, refused: (why ? why.textContent : String(answer.status)).trim().slice(0, 200) } : o)));
      }
    } catch (e) { /* still no network */ }
    sending = false;
    if (sent && !read().length) location.reload();
  }

  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.hasAttribute("data-bench") || form.method !== "post") return;
    event.preventDefault();
    const pairs = [...new FormData(form, event.submitter)].filter(([, value]) => typeof value === "string");
    fetch(form.action, { method: "POST", body: new URLSearchParams(pairs) })
      .then(async (answer) => {
        if (answer.redirected) { location.assign(answer.url); return; }
        const page = new DOMParser().parseFromString(await answer.text(), "text/html");
        document.querySelector("main").replaceWith(page.querySelector("main"));
      })
      .catch(() => {
        try { keep(new URL(form.action).pathname, pairs); mark(form); } catch (full) {
          bar.hidden = false;
          bar.textContent = say("This device has no room for more: go where the network is, then keep it again.");
        }
      });
  });

  document.addEventListener("htmx:sendError", (event) => {
    const config = event.detail.requestConfig;
    if (config.verb !== "post") return;
    keep(config.path, [...config.formData]);
    mark(config.elt);
  });

  function mark(form) {
    for (const button of form.querySelectorAll("button")) { button.disabled = true; button.textContent = say("kept here"); }
  }

  addEventListener("online", send);
  setInterval(send, 15000);
  tell();
  send();
})();
