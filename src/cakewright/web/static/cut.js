// The cross-section of a nest at a layer, as outlines one can press.
import { colour } from "/static/orbit.js";

const box = document.querySelector("[data-scene]");
const cutDrawing = document.querySelector("svg.cut");
const cutNote = document.querySelector(".cut-note");
const SVG = "http://www.w3.org/2000/svg";

export function markCut(piece) {
  cutDrawing.querySelectorAll("path").forEach((path) => path.classList.toggle("is-picked", Boolean(piece) && path.dataset.piece === piece));
}

let asked = 0, timer = 0;

export function drawCut(view, layer) {
  clearTimeout(timer);
  timer = setTimeout(async () => {
    const mine = ++asked;
    const whole = layer >= view.nest.layers; // nothing is cut off: then the fullest layer says most
    const at = whole ? Number(box.dataset.fullest) : Math.max(layer, 1);
    const z = (at - 0.5) * view.nest.layer_mm;
    try {
      const answer = await fetch(box.dataset.cut + "?z_mm=" + z.toFixed(4));
      if (!answer.ok) throw new Error(String(answer.status));
      const cut = await answer.json();
      if (mine === asked) showCut(view, cut, whole);
    } catch (wrong) {
      if (mine === asked) cutNote.textContent = say("The cross-section could not be loaded ({why}).", { why: wrong.message });
    }
  }, 60);
}

// Pieces of outline come unordered: join them end to end so that they can be filled.
function outline(segments, tall) {
  const key = (x, y) => Math.round(x * 50) + "," + Math.round(y * 50);
  const at = new Map();
  segments.forEach(([x1, y1, x2, y2], i) => {
    for (const k of [key(x1, y1), key(x2, y2)]) { if (!at.has(k)) at.set(k, []); at.get(k).push(i); }
  });
  const used = new Uint8Array(segments.length);
  let path = "";
  for (let i = 0; i < segments.length; i++) {
    if (used[i]) continue;
    used[i] = 1;
    let [x1, y1, x, y] = segments[i];
    path += "M" + x1 + " " + (tall - y1).toFixed(2) + "L" + x + " " + (tall - y).toFixed(2);
    for (;;) {
      const next = (at.get(key(x, y)) || []).find((j) => !used[j]);
      if (next === undefined) break;
      used[next] = 1;
      const [a, b, c, d] = segments[next];
      [x, y] = key(a, b) === key(x, y) ? [c, d] : [a, b];
      path += "L" + x + " " + (tall - y).toFixed(2);
    }
    path += "Z";
  }
  return path;
}

function showCut(view, cut, whole) {
  const [wide, tall] = cut.chamber_mm, free = cut.wall_margin_mm;
  cutDrawing.setAttribute("viewBox", "-2 -2 " + (wide + 4) + " " + (tall + 4));
  const frame = (x, dashes) => {
    const wall = document.createElementNS(SVG, "rect");
    const look = { x, y: x, width: wide - 2 * x, height: tall - 2 * x, fill: "none", stroke: colour("--edge"), "stroke-dasharray": dashes };
    for (const [name, value] of Object.entries(look)) wall.setAttribute(name, value);
    return wall;
  };
  const shapes = [frame(0, "none"), frame(free, "2 2")], words = [];
  for (const piece of cut.pieces) {
    const path = document.createElementNS(SVG, "path");
    path.setAttribute("d", outline(piece.segments, tall));
    path.dataset.piece = piece.piece;
    if (view.chosen && view.chosen.piece === piece.piece) path.classList.add("is-picked");
    path.addEventListener("click", () => view.choose(view.pieces.find((p) => p.piece === piece.piece), "cut"));
    shapes.push(path);
    let x = 0, y = 0;
    piece.segments.forEach((s) => { x += s[0]; y += s[1]; });
    const word = document.createElementNS(SVG, "text");
    word.setAttribute("x", x / piece.segments.length);
    word.setAttribute("y", tall - y / piece.segments.length + 2);
    word.setAttribute("text-anchor", "middle");
    word.textContent = view.nest.lines[String(piece.line)].tray;
    words.push(word);
  }
  cutDrawing.replaceChildren(...shapes, ...words);
  const n = cut.pieces.length, at = { height: lengthOf(cut.z_mm), n };
  const head = whole ? say("Fullest layer, at {height}: {n} pieces.", at) : n === 1 ? say("At {height}: 1 piece.", at) : say("At {height}: {n} pieces.", at);
  cutNote.textContent = head + " " + say("Letters are trays, the dashed frame is the free margin. Front at the bottom.");
}
