// Others note, book and plan while this page is open, here or on another server: say so, and let the reader decide when.
(function () {
  "use strict";
  const bar = document.getElementById("news"), EVERY_MS = 5000;
  if (!bar) return;
  const path = location.pathname;
  const parts = path.startsWith("/powder") ? ["powder"] : path.startsWith("/quotes") ? ["offers"]
    : path.startsWith("/inbox") || path.startsWith("/jobs") ? [] : ["plans", "week", "floor"];
  const words = {
    plans: window.say("There is a newer plan."), week: window.say("The week was changed or noted."), floor: window.say("Something was noted on the floor."),
    powder: window.say("Powder was booked."), offers: window.say("A quote was answered."),
  };
  let first = null;

  function tell(now) {
    const news = parts.filter((part) => now[part] !== first[part]);
    bar.hidden = !news.length;
    if (!news.length || bar.dataset.said === news.join()) return;
    bar.dataset.said = news.join();
    const again = document.createElement("a");
    again.href = location.href; again.className = "button"; again.textContent = window.say("Show it");
    again.addEventListener("click", (event) => { event.preventDefault(); location.reload(); });
    bar.replaceChildren(news.map((part) => words[part]).join(" ") + " ", again);
  }

  async function look() {
    if (document.visibilityState !== "visible" || !parts.length) return;
    try {
      const answer = await fetch("/marks");
      if (!answer.ok) return;
      const now = await answer.json();
      if (first === null) first = now;
      tell(now);
    } catch (e) { /* no network: what is kept on this device says so */ }
  }

  look();
  setInterval(look, EVERY_MS);
  document.addEventListener("visibilitychange", look);
})();
