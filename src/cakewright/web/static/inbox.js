// Files dropped on the page go up one after the other; each answer is the list drawn anew.
(function () {
  "use strict";
  const form = document.getElementById("drop"), field = document.getElementById("files");
  const told = document.getElementById("sending"), tray = document.getElementById("tray");
  if (!form) return;
  const waiting = [];
  let busy = 0;

  form.querySelector("button").hidden = true;
  form.addEventListener("submit", (e) => { e.preventDefault(); take(field.files); });
  field.addEventListener("change", () => { take(field.files); field.value = ""; });
  form.addEventListener("dragover", (e) => { e.preventDefault(); form.classList.add("is-over"); });
  form.addEventListener("dragleave", () => form.classList.remove("is-over"));
  form.addEventListener("drop", (e) => { e.preventDefault(); form.classList.remove("is-over"); take(e.dataTransfer.files); });

  function take(files) {
    const lists = (f) => (/\.(csv|toml)$/i.test(f.name) ? 0 : 1);
    for (const file of [...files].sort((a, b) => lists(a) - lists(b))) {
      const row = document.createElement("p"), name = document.createElement("span"), far = document.createElement("progress");
      row.className = "sending"; name.textContent = file.name; far.max = 1; far.value = 0;
      far.setAttribute("aria-label", file.name);
      row.append(name, far); told.append(row);
      waiting.push({ file, row, far, name });
    }
    next();
  }

  function next() {
    while (busy < 2 && waiting.length) { busy += 1; send(waiting.shift()); }
  }

  function send(one) {
    const ask = new XMLHttpRequest();
    ask.open("PUT", form.dataset.to + encodeURIComponent(one.file.name));
    ask.upload.onprogress = (e) => { if (e.lengthComputable) one.far.value = e.loaded / e.total; };
    ask.upload.onload = () => { one.far.removeAttribute("value"); one.name.textContent = one.file.name + ": " + say("being looked at"); };
    ask.onloadend = () => {
      busy -= 1;
      if (ask.status === 200) { one.row.remove(); show(ask.responseText); }
      else if (ask.status) { one.row.replaceChildren(parts(ask.responseText)); }
      else { one.far.remove(); one.name.textContent = one.file.name + ": " + say("the line broke. Choose it again."); }
      next();
    };
    ask.send(one.file);
  }

  function parts(text) { return new DOMParser().parseFromString(text, "text/html").body.firstElementChild || document.createElement("p"); }

  function show(text) {
    const read = new DOMParser().parseFromString(text, "text/html");
    tray.replaceChildren(...read.body.childNodes);
    if (window.htmx) window.htmx.process(tray);
  }
})();
