// The nest in 3D: turn, cut at a layer, pick a piece. Everything here also works from the keyboard.
import * as THREE from "/static/vendor/three/three.module.js";

const box = document.querySelector("[data-scene]");
const canvas = box.querySelector("canvas");
const note = box.querySelector(".stage-note");
const picked = box.querySelector(".picked");
const slider = box.querySelector("#layer");
const shownLayer = box.querySelector("#layer-now");
const cutDrawing = document.querySelector("svg.cut");
const cutNote = document.querySelector(".cut-note");
const SVG = "http://www.w3.org/2000/svg";

const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();

// --- reading the binary scene -------------------------------------------------------------------------------------
function read(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const start = 4 + length;
  const block = (Kind, [offset, count]) => new Kind(buffer, start + offset, count);
  header.parts.forEach((part) => {
    part.vertices = block(Float32Array, part.vertices);
    part.faces = block(Uint32Array, part.faces);
    part.matrices = block(Float32Array, part.matrices);
  });
  return header;
}

// A colour for each line: hues a golden angle apart, so that neighbours in the list differ most. The line's name is
// always written too: colour is a help, not the message.
function lineColour(index, dark) {
  return new THREE.Color().setHSL(((index * 137.508) % 360) / 360, 0.42, dark ? 0.62 : 0.52);
}

// What a stop leaves: pale for whole, strong for what is lost; the table says it in words.
function fateColour(fate, dark) {
  const kind = (fate || "").split(/[,:]/)[0] + ((fate || "").includes("near") ? " near" : "");
  const light = { "whole": "#5c9a73", "whole near": "#d79a3c", "half made": "#b3352a", "not begun": "#8f8b82" };
  const night = { "whole": "#8fdcab", "whole near": "#ffc27a", "half made": "#ff8376", "not begun": "#6c7176" };
  return new THREE.Color((dark ? night : light)[kind] || "#888888");
}

class View {
  constructor(nest) {
    this.nest = nest;
    this.pieces = []; // {piece, line, low, high, mesh, index}
    this.chosen = null;
    this.turn = { around: -0.7, up: 0.5, far: 1 };
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(35, 1, 1, 20000);
    this.camera.up.set(0, 0, 1);
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true });
    this.renderer.localClippingEnabled = true;
    this.plane = new THREE.Plane(new THREE.Vector3(0, 0, -1), 1e6);
    const [x, y, z] = nest.chamber_mm;
    const tall = Math.max(nest.height_mm, 1);
    this.centre = new THREE.Vector3(x / 2, y / 2, tall / 2);
    this.reach = Math.hypot(x, y, tall);
    this.addChamber(x, y, z);
    this.addParts();
    this.light();
    this.paint();
    this.resize();
  }

  addChamber(x, y, z) {
    const edges = new THREE.EdgesGeometry(new THREE.BoxGeometry(x, y, z));
    this.frame = new THREE.LineSegments(edges, new THREE.LineBasicMaterial());
    this.frame.position.set(x / 2, y / 2, z / 2);
    this.floor = new THREE.Mesh(new THREE.PlaneGeometry(x, y), new THREE.MeshBasicMaterial({ side: THREE.DoubleSide }));
    this.floor.position.set(x / 2, y / 2, -0.5);
    const front = new THREE.BufferGeometry().setFromPoints([new THREE.Vector3(0, -4, 0), new THREE.Vector3(x, -4, 0)]);
    this.front = new THREE.Line(front, new THREE.LineBasicMaterial());
    this.scene.add(this.frame, this.floor, this.front);
  }

  addParts() {
    this.outside = new THREE.MeshLambertMaterial({ flatShading: true, clippingPlanes: [this.plane], side: THREE.FrontSide });
    this.inside = new THREE.MeshBasicMaterial({ clippingPlanes: [this.plane], side: THREE.BackSide }); // seen through the cut: looks solid
    this.meshes = [];
    for (const part of this.nest.parts) {
      const shape = new THREE.BufferGeometry();
      shape.setAttribute("position", new THREE.BufferAttribute(part.vertices, 3));
      shape.setIndex(new THREE.BufferAttribute(part.faces, 1));
      shape.computeBoundingSphere();
      const count = part.pieces.length;
      const skin = new THREE.InstancedMesh(shape, this.outside, count);
      const core = new THREE.InstancedMesh(shape, this.inside, count);
      for (let i = 0; i < count; i++) {
        const at = new THREE.Matrix4().fromArray(part.matrices, 16 * i);
        skin.setMatrixAt(i, at);
        core.setMatrixAt(i, at);
        const [piece, line, low, high] = part.pieces[i];
        this.pieces.push({ piece, line, low, high, mesh: skin, index: i });
      }
      skin.computeBoundingSphere();
      core.computeBoundingSphere();
      this.meshes.push(skin);
      this.scene.add(skin, core);
    }
    this.pieces.sort((a, b) => b.high - a.high || (a.piece < b.piece ? -1 : 1));
    this.lineOrder = [...new Set(this.pieces.map((p) => p.line))].sort((a, b) => a - b);
  }

  light() {
    this.scene.add(new THREE.HemisphereLight(0xffffff, 0x777777, 2.2));
    this.lamp = new THREE.DirectionalLight(0xffffff, 1.6);
    this.scene.add(this.lamp, this.lamp.target);
  }

  isDark() { return new THREE.Color(colour("--paper")).getHSL({}).l < 0.5; }

  paint() {
    const dark = this.isDark();
    this.scene.background = new THREE.Color(colour("--sheet"));
    this.frame.material.color.set(colour("--edge"));
    this.front.material.color.set(colour("--ink"));
    this.floor.material.color.set(colour("--off"));
    this.inside.color.set(dark ? "#d9c391" : "#6b4c14");
    const strong = new THREE.Color(dark ? "#ffffff" : "#111111");
    for (const p of this.pieces) {
      const own = this.fates ? fateColour(this.fates.get(p.piece), dark) : lineColour(this.lineOrder.indexOf(p.line), dark);
      p.mesh.setColorAt(p.index, this.chosen === p ? strong : own);
    }
    this.meshes.forEach((m) => { m.instanceColor.needsUpdate = true; });
    this.draw();
  }

  resize() {
    const w = canvas.clientWidth, h = canvas.clientHeight;
    if (!w || !h) return;
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2));
    this.renderer.setSize(w, h, false);
    this.camera.aspect = w / h;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  place() {
    const { around, up, far } = this.turn;
    const fit = Math.min(this.camera.aspect, 1.25);
    const away = (this.reach / 2 / Math.sin((this.camera.fov * Math.PI) / 360)) * far * 1.05 / Math.min(fit, 1);
    this.camera.position.set(
      this.centre.x + away * Math.cos(up) * Math.sin(around),
      this.centre.y - away * Math.cos(up) * Math.cos(around),
      this.centre.z + away * Math.sin(up));
    this.camera.lookAt(this.centre);
    this.lamp.position.copy(this.camera.position);
    this.lamp.target.position.copy(this.centre);
  }

  draw() {
    if (this.waiting) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = 0;
      this.place();
      this.renderer.render(this.scene, this.camera);
      canvas.dataset.frames = String(Number(canvas.dataset.frames || 0) + 1);
    });
  }

  rotate(around, up) {
    this.turn.around += around;
    this.turn.up = Math.max(-1.5, Math.min(1.5, this.turn.up + up));
    this.draw();
  }

  zoom(factor) {
    this.turn.far = Math.max(0.1, Math.min(4, this.turn.far * factor));
    this.draw();
  }

  cutAt(layer) {
    this.plane.constant = layer >= this.nest.layers ? 1e6 : layer * this.nest.layer_mm;
    this.draw();
  }

  pieceAt(clientX, clientY) {
    const r = canvas.getBoundingClientRect();
    const ray = new THREE.Raycaster();
    ray.setFromCamera(new THREE.Vector2(((clientX - r.left) / r.width) * 2 - 1, 1 - ((clientY - r.top) / r.height) * 2), this.camera);
    const hits = ray.intersectObjects(this.meshes).filter((hit) => hit.point.z <= this.plane.constant);
    return hits.length ? this.pieces.find((p) => p.mesh === hits[0].object && p.index === hits[0].instanceId) : null;
  }

  choose(p, by) {
    this.chosen = p || null;
    this.paint();
    tell(this, by);
  }
}

// --- words beside the picture -------------------------------------------------------------------------------------
function tell(view, by) {
  const p = view.chosen;
  document.querySelectorAll(".pieces-table tbody tr").forEach((row) => {
    const mine = p && row.querySelector(".pick").dataset.piece === p.piece;
    row.classList.toggle("is-picked", Boolean(mine));
    row.querySelector(".pick")?.setAttribute("aria-pressed", String(Boolean(mine)));
  });
  cutDrawing.querySelectorAll("path").forEach((path) => path.classList.toggle("is-picked", Boolean(p) && path.dataset.piece === p.piece));
  if (!p) { picked.textContent = "Pick a piece in the picture or in the list below."; return; }
  const line = view.nest.lines[String(p.line)];
  const link = document.createElement("a");
  link.href = box.dataset.lines + p.line;
  link.textContent = "L" + String(p.line).padStart(2, "0") + " " + line.title;
  const where = ", tray " + line.tray + ", " + p.low.toFixed(1) + " to " + p.high.toFixed(1) + " mm high";
  picked.replaceChildren(Object.assign(document.createElement("b"), { textContent: p.piece }), " – ", link, where);
  if (by === "list") canvas.scrollIntoView({ block: "nearest" });
}

// --- the cross-section --------------------------------------------------------------------------------------------
let asked = 0, timer = 0;
function drawCut(view, layer) {
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
      if (mine === asked) showCut(view, cut, whole ? "Fullest layer, at " : "At ");
    } catch (wrong) {
      if (mine === asked) cutNote.textContent = "The cross-section could not be loaded (" + wrong.message + ").";
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

function showCut(view, cut, lead) {
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
  const n = cut.pieces.length;
  cutNote.textContent = lead + cut.z_mm.toFixed(1) + " mm: " + (n === 1 ? "1 piece" : n + " pieces") + ". Letters are trays, the dashed frame is the free margin. Front at the bottom.";
}

// --- what if it stops here ----------------------------------------------------------------------------------------
const whatif = { button: document.querySelector(".show-fates"), box: document.querySelector(".fates"), asked: 0, timer: 0 };

function askStop(view, layer) {
  clearTimeout(whatif.timer);
  if (whatif.button.getAttribute("aria-pressed") !== "true") return;
  whatif.timer = setTimeout(async () => {
    const mine = ++whatif.asked, head = whatif.box.querySelector(".fates-head");
    try {
      const answer = await fetch(box.dataset.stop + "?layer=" + layer);
      if (!answer.ok) throw new Error(String(answer.status));
      const after = await answer.json();
      if (mine === whatif.asked) showFates(view, after);
    } catch (wrong) {
      if (mine === whatif.asked) head.textContent = "The answer could not be loaded (" + wrong.message + ").";
    }
  }, 80);
}

function showFates(view, after) {
  view.fates = new Map(after.fates.map(([piece, , fate]) => [piece, fate]));
  view.paint();
  const sum = (name) => after.lines.reduce((all, line) => all + line[name], 0);
  whatif.box.querySelector(".fates-head").textContent =
    "After layer " + after.layer + " (" + after.at_mm.toFixed(1) + " mm): " + sum("whole") + " whole, " + sum("doubtful") + " near the stop, " +
    sum("half") + " half made, " + sum("not_begun") + " not begun. " + after.hours_printed.toFixed(1) + " h printed, " + after.hours_open.toFixed(1) + " h were to come.";
  const rows = after.lines.map((line) => {
    const row = document.createElement("tr"), name = document.createElement("th"), link = document.createElement("a");
    link.href = box.dataset.lines + line.line;
    link.textContent = "L" + String(line.line).padStart(2, "0");
    name.scope = "row";
    name.dataset.name = "Line";
    name.append(link, " " + view.nest.lines[String(line.line)].title);
    row.append(name);
    const cost = line.again_cost === null ? "–" : line.again_cost.toFixed(2) + " " + box.dataset.currency;
    [["Whole", line.whole], ["Inspect", line.doubtful], ["Scrap", line.half], ["Not begun", line.not_begun], ["Again", cost]].forEach(([word, value]) => {
      const cell = document.createElement("td");
      cell.className = "number";
      cell.dataset.name = word;
      cell.textContent = value;
      row.append(cell);
    });
    return row;
  });
  whatif.box.querySelector("tbody").replaceChildren(...rows);
}

function listenStop(view) {
  whatif.button.addEventListener("click", () => {
    const on = whatif.button.getAttribute("aria-pressed") !== "true";
    whatif.button.setAttribute("aria-pressed", String(on));
    whatif.box.hidden = !on;
    if (on) askStop(view, Number(slider.value));
    else { view.fates = null; view.paint(); }
  });
}

// --- hands on it --------------------------------------------------------------------------------------------------
function listen(view) {
  const setLayer = (layer) => {
    slider.value = String(Math.max(0, Math.min(view.nest.layers, layer)));
    const now = Number(slider.value);
    shownLayer.textContent = now + " of " + view.nest.layers + " (" + (now * view.nest.layer_mm).toFixed(1) + " mm)";
    view.cutAt(now);
    drawCut(view, now);
    askStop(view, now);
  };
  slider.addEventListener("input", () => setLayer(Number(slider.value)));
  box.querySelectorAll("[data-step]").forEach((button) => button.addEventListener("click", () => {
    setLayer(button.dataset.step === "all" ? view.nest.layers : Number(slider.value) + Number(button.dataset.step));
  }));
  document.querySelectorAll(".pick").forEach((button) => button.addEventListener("click", () => {
    view.choose(view.pieces.find((p) => p.piece === button.dataset.piece), "list");
  }));
  canvas.addEventListener("keydown", (event) => {
    const layer = Number(slider.value), step = Math.max(1, Math.round(view.nest.layers / 40));
    const act = {
      ArrowLeft: () => view.rotate(-0.15, 0), ArrowRight: () => view.rotate(0.15, 0),
      ArrowUp: () => view.rotate(0, 0.12), ArrowDown: () => view.rotate(0, -0.12),
      "+": () => view.zoom(0.85), "=": () => view.zoom(0.85), "-": () => view.zoom(1.18),
      PageUp: () => setLayer(layer + step), PageDown: () => setLayer(layer - step),
      Home: () => setLayer(0), End: () => setLayer(view.nest.layers),
      Enter: () => view.choose(view.pieces[(view.pieces.indexOf(view.chosen) + 1) % view.pieces.length], "key"),
      Escape: () => view.choose(null, "key"),
    }[event.key];
    if (!act || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    act();
  });
  drag(view);
  listenStop(view);
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas) return; // the page scrolls until somebody works in the picture
    event.preventDefault();
    view.zoom(event.deltaY > 0 ? 1.1 : 0.9);
  }, { passive: false });
  document.addEventListener("themechange", () => { view.paint(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => view.paint());
  new ResizeObserver(() => view.resize()).observe(canvas.parentElement);
  setLayer(view.nest.layers);
}

function drag(view) {
  const down = new Map();
  let moved = 0, gap = 0;
  canvas.addEventListener("pointerdown", (event) => {
    canvas.setPointerCapture(event.pointerId);
    down.set(event.pointerId, [event.clientX, event.clientY]);
    moved = 0;
    gap = 0;
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) return;
    const [x, y] = down.get(event.pointerId);
    const dx = event.clientX - x, dy = event.clientY - y;
    moved += Math.abs(dx) + Math.abs(dy);
    down.set(event.pointerId, [event.clientX, event.clientY]);
    if (down.size === 1) view.rotate(-dx * 0.008, dy * 0.008);
    else {
      const [a, b] = [...down.values()];
      const now = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (gap) view.zoom(gap / Math.max(now, 1));
      gap = now;
    }
  });
  const up = (event) => {
    const was = down.delete(event.pointerId);
    gap = 0;
    if (was && event.type === "pointerup" && moved < 6) view.choose(view.pieceAt(event.clientX, event.clientY), "picture");
  };
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
}

async function begin() {
  let nest;
  try {
    const answer = await fetch(box.dataset.scene);
    if (!answer.ok) throw new Error(String(answer.status));
    nest = read(await answer.arrayBuffer());
  } catch (wrong) {
    note.textContent = "The nest could not be loaded (" + wrong.message + "). Load the page again.";
    return;
  }
  try {
    const view = new View(nest);
    listen(view);
    note.textContent = "";
    const wanted = new URLSearchParams(location.search).get("piece");
    if (wanted) view.choose(view.pieces.find((p) => p.piece === wanted), "address");
  } catch (wrong) {
    note.textContent = "This browser cannot draw in 3D (" + wrong.message + "). The list and the papers say the same.";
  }
}

begin();
