// A job tells how far it is; when it has ended the page is loaded again.
(function () {
  "use strict";
  const box = document.getElementById("job");
  if (!box || !box.dataset.events) return;
  const set = (id, text) => { document.getElementById(id).textContent = text; };
  const source = new EventSource(box.dataset.events);
  source.addEventListener("job", (event) => {
    const job = JSON.parse(event.data);
    if (!["waiting", "running"].includes(job.state)) { source.close(); location.reload(); return; }
    const far = document.getElementById("far");
    far.max = job.total || 1; far.value = job.done;
    set("state", job.said);
    set("stage", job.stage || say("waiting for its turn"));
    set("count", job.total ? say("{done} of {total}", job) : "");
    set("job-note", job.note);
  });
})();
