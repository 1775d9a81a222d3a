// A bar of the calendar moved by hand: dragged or pushed by keys; the answer of the server is shown below, nothing is kept.
(function () {
  "use strict";
  const STEP_MIN = 15;
  const box = document.getElementById("calendar"), answer = document.getElementById("moving");
  const drawing = box.querySelector("svg.gantt:not(.names)");
  const HOUR_PX = Number(drawing.dataset.hourPx);
  const lanes = [...drawing.querySelectorAll("g.lane")];
  let held = null; // {bar, minutes, lane, x, y}

  const laneOf = (bar) => bar.closest("g.lane");
  const middle = (lane) => { const r = lane.querySelector(".rail").getBoundingClientRect(); return r.top - 20; };
  const alike = (lane) => lanes.filter((other) => other.dataset.kind === lane.dataset.kind);

  function show() {
    const down = middle(held.lane) - middle(laneOf(held.bar));
    held.bar.setAttribute("transform", "translate(" + (held.minutes / 60) * HOUR_PX + " " + down + ")");
    held.bar.classList.add("is-held");
    const start = new Date(new Date(held.bar.dataset.start).getTime() + held.minutes * 60000);
    answer.hidden = false;
    answer.textContent = say("{task}: {minutes} min {direction}. Enter asks what that changes, Escape lets it go back.", {
      task: held.bar.dataset.task, minutes: Math.abs(held.minutes), direction: held.minutes < 0 ? say("earlier") : say("later") });
    return start;
  }

  function letGo() {
    if (!held) return;
    held.bar.removeAttribute("transform");
    held.bar.classList.remove("is-held");
    held = null;
  }

  async function ask() {
    const start = show(), asked = new URLSearchParams({ task: held.bar.dataset.task, start: start.toISOString() });
    if (held.lane !== laneOf(held.bar)) asked.set(held.lane.dataset.kind, held.lane.dataset.name);
    answer.textContent = say("Working out what that changes…");
    try {
      const said = await fetch(box.dataset.move + "?" + asked, { headers: { "hx-request": "true" } });
      answer.innerHTML = await said.text(); // drawn by our own server, with every name escaped
      if (!said.ok) throw new Error(String(said.status));
    } catch (wrong) {
      answer.textContent = say("The answer could not be loaded ({why}).", { why: wrong.message });
    }
    answer.scrollIntoView({ block: "nearest" });
  }

  const take = (bar) => { if (!held || held.bar !== bar) { letGo(); held = { bar, minutes: 0, lane: laneOf(bar) }; } };
  const snap = (minutes) => Math.round(minutes / STEP_MIN) * STEP_MIN;

  drawing.querySelectorAll("[data-task]").forEach((bar) => {
    bar.addEventListener("dragstart", (event) => event.preventDefault()); // a link would be dragged as an address
    bar.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      const from = [event.clientX, event.clientY];
      let pulled = false;
      const move = (at) => {
        if (!pulled && Math.hypot(at.clientX - from[0], at.clientY - from[1]) < 6) return;
        if (!pulled) { pulled = true; take(bar); bar.setPointerCapture(event.pointerId); }
        held.minutes = snap(((at.clientX - from[0]) / HOUR_PX) * 60);
        const near = alike(laneOf(bar)).filter((lane) => laneOf(bar).dataset.kind !== "person" || lane === laneOf(bar));
        held.lane = near.reduce((best, lane) => Math.abs(middle(lane) - at.clientY) < Math.abs(middle(best) - at.clientY) ? lane : best);
        show();
      };
      const end = (at) => {
        bar.removeEventListener("pointermove", move);
        if (!pulled) return;
        bar.addEventListener("click", (click) => click.preventDefault(), { once: true });
        if (at.type === "pointerup" && (held.minutes || held.lane !== laneOf(bar))) ask(); else letGo();
      };
      bar.addEventListener("pointermove", move);
      bar.addEventListener("pointerup", end, { once: true });
      bar.addEventListener("pointercancel", end, { once: true });
    });
    bar.addEventListener("keydown", (event) => {
      const along = { ArrowLeft: -1, ArrowRight: 1 }[event.key], across = { ArrowUp: -1, ArrowDown: 1 }[event.key];
      if (along) { take(bar); held.minutes += along * (event.shiftKey ? 60 : STEP_MIN); show(); }
      else if (across && laneOf(bar).dataset.kind !== "person") {
        take(bar);
        const row = alike(laneOf(bar)), to = row[row.indexOf(held.lane) + across];
        if (to) { held.lane = to; show(); }
      } else if (event.key === "Enter" && held && held.bar === bar) ask();
      else if (event.key === "Escape" && held) { letGo(); answer.hidden = true; }
      else return;
      event.preventDefault();
    });
  });
})();
