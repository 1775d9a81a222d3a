// Curves of a build: area by height, temperature by time. Colours come from the style sheet.
(function () {
  "use strict";
  const box = document.querySelector("[data-curves]");
  if (!box) return;
  const plots = [];
  const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const axis = (label) => ({ label: label, stroke: colour("--ink"), grid: { stroke: colour("--rule"), width: 1 }, ticks: { stroke: colour("--rule") }, font: "14px system-ui", labelFont: "14px system-ui", labelSize: 22 });
  const size = (el) => ({ width: el.clientWidth, height: el.clientHeight - 30 });

  function draw(curves) {
    plots.splice(0).forEach((p) => p[0].destroy());
    const area = document.getElementById("area"), heat = document.getElementById("heat");
    area.textContent = heat.textContent = "";
    if (curves.z_mm.length) plots.push([new uPlot({
      ...size(area), scales: { x: { time: false } }, axes: [axis(say("height, mm")), axis(say("area, cm²"))],
      series: [{ label: say("height") }, { label: say("area"), stroke: colour("--deed"), width: 2, fill: colour("--deed-wash") }],
    }, [curves.z_mm, curves.area_cm2], area), area]);
    const opening = {
      hooks: { draw: (u) => {
        const ctx = u.ctx, x = (h) => u.valToPos(h, "x", true), y = u.valToPos(curves.target_c, "y", true);
        ctx.save();
        ctx.fillStyle = colour("--warm"); ctx.globalAlpha = 0.18;
        ctx.fillRect(x(curves.opening_h[0]), u.bbox.top, x(curves.opening_h[2]) - x(curves.opening_h[0]), u.bbox.height);
        ctx.globalAlpha = 1; ctx.strokeStyle = colour("--warm"); ctx.lineWidth = 2; ctx.setLineDash([8, 6]);
        ctx.beginPath(); ctx.moveTo(u.bbox.left, y); ctx.lineTo(u.bbox.left + u.bbox.width, y); ctx.stroke();
        ctx.restore();
      } },
    };
    if (curves.hours.length) plots.push([new uPlot({
      ...size(heat), scales: { x: { time: false } }, axes: [axis(say("hours after the print end")), axis("°C")], plugins: [opening],
      series: [{ label: say("hours") }, { label: say("warmest point"), stroke: colour("--bad"), width: 3 }, { label: say("mean"), stroke: colour("--ink"), width: 2, dash: [10, 5] }, { label: say("skin"), stroke: colour("--deed"), width: 2, dash: [3, 4] }],
    }, [curves.hours, curves.core_c, curves.mean_c, curves.skin_c], heat), heat]);
  }

  fetch(box.dataset.curves).then((r) => r.ok ? r.json() : Promise.reject(new Error(String(r.status)))).then((curves) => {
    draw(curves);
    document.addEventListener("themechange", () => draw(curves));
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => draw(curves));
    new ResizeObserver(() => plots.forEach((p) => p[0].setSize(size(p[1])))).observe(box);
  }).catch((wrong) => { document.getElementById("area").textContent = say("The curves could not be loaded ({why}). Load the page again.", { why: wrong.message }); });
})();
