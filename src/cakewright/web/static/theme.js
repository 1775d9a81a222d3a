// Light or dark: what the machine says, unless somebody chose. Runs before the first paint.
(function () {
  "use strict";
  const root = document.documentElement;
  let chosen = null;
  try { chosen = localStorage.getItem("theme"); } catch (e) { /* storage may be closed: then follow the machine */ }
  if (chosen === "light" || chosen === "dark") root.dataset.theme = chosen;
  document.addEventListener("DOMContentLoaded", function () {
    const button = document.querySelector("button.theme");
    if (!button) return;
    const isDark = () => root.dataset.theme ? root.dataset.theme === "dark" : matchMedia("(prefers-color-scheme: dark)").matches;
    const tell = () => { button.textContent = isDark() ? say("Light") : say("Dark"); button.setAttribute("aria-label", isDark() ? say("Show in light colours") : say("Show in dark colours")); };
    button.hidden = false;
    tell();
    button.addEventListener("click", function () {
      root.dataset.theme = isDark() ? "light" : "dark";
      try { localStorage.setItem("theme", root.dataset.theme); } catch (e) { /* not kept, still shown */ }
      tell();
      document.dispatchEvent(new Event("themechange"));
    });
  });
})();
