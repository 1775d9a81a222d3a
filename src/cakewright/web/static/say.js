// Texts and lengths as this person reads them: words of the chosen language, millimetres or inches or both.
(function () {
  "use strict";
  const root = document.documentElement;
  // `text` is English with {names}; the catalogue of another language is loaded before this as window.catalogue.
  window.say = (text, values = {}) => {
    const said = (window.catalogue || {})[text] || text;
    return said.replace(/\{(\w+)\}/g, (all, name) => name in values ? String(values[name]) : all);
  };
  // "12.3 mm", "0.48 in" or "12.3 mm (0.48 in)"; the data stays in millimetres.
  window.lengthOf = (mm, digits = 1) => {
    const metric = mm.toFixed(digits) + " mm", inch = (mm / 25.4).toFixed(digits + 2) + " in";
    return { inch, both: metric + " (" + inch + ")" }[root.dataset.lengths] || metric;
  };
})();
