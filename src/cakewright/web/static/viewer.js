// The nest in 3D: turn, cut at a layer, pick a piece. Everything here also works from the keyboard.
import { coarse } from "/static/coarse.js";
import { drawCut, markCut } from "/static/cut.js";
import { listenMoves } from "/static/move.js";
import { Orbit, THREE, colour, isDark } from "/static/orbit.js";
import { askStop, listenStop } from "/static/stop.js";

const box = document.querySelector("[data-scene]");
const canvas = box.querySelector("canvas");
const note = box.querySelector(".stage-note");
const picked = box.querySelector(".picked");
const slider = box.querySelector("#layer");
const shownLayer = box.querySelector("#layer-now");

const MOVING = 24000; // triangles of the whole nest while it moves on a machine that draws slowly

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

function shapeOf({ vertices, faces }) {
  const shape = new THREE.BufferGeometry();
  shape.setAttribute("position", new THREE.BufferAttribute(vertices, 3));
  shape.setIndex(new THREE.BufferAttribute(faces, 1));
  shape.computeBoundingSphere();
  return shape;
}

class View extends Orbit {
  constructor(nest) {
    super(canvas, { start: { around: -0.7 }, closest: 0.1, farthest: 4, near: 1 });
    this.nest = nest;
    this.pieces = []; // {piece, line, low, high, mesh, core, index, vertices, matrix}
    this.chosen = null;
    this.wrong = new Set(); // names of pieces with something wrong; the list beside the picture says what
    this.renderer.localClippingEnabled = true;
    this.plane = new THREE.Plane(new THREE.Vector3(0, 0, -1), 1e6);
    const [x, y, z] = nest.chamber_mm;
    const tall = Math.max(nest.height_mm, 1);
    this.centre.set(x / 2, y / 2, tall / 2);
    this.reach = Math.hypot(x, y, tall);
    this.addChamber(x, y, z);
    this.addParts();
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
    this.cores = [];
    for (const part of this.nest.parts) {
      const shape = shapeOf(part);
      const count = part.pieces.length;
      const skin = new THREE.InstancedMesh(shape, this.outside, count);
      const core = new THREE.InstancedMesh(shape, this.inside, count);
      for (let i = 0; i < count; i++) {
        const at = new THREE.Matrix4().fromArray(part.matrices, 16 * i);
        skin.setMatrixAt(i, at);
        core.setMatrixAt(i, at);
        const [piece, line, low, high] = part.pieces[i];
        this.pieces.push({ piece, line, low, high, mesh: skin, core, index: i, vertices: part.vertices, matrix: at });
      }
      skin.computeBoundingSphere();
      core.computeBoundingSphere();
      core.visible = false;
      this.cores.push(core);
      this.meshes.push(skin);
      this.scene.add(skin, core);
    }
    this.pieces.sort((a, b) => b.high - a.high || (a.piece < b.piece ? -1 : 1));
    this.lineOrder = [...new Set(this.pieces.map((p) => p.line))].sort((a, b) => a - b);
  }

  // While it moves on a slow machine each part is drawn with few triangles; they are found the first time.
  coarsen(isCoarse) {
    const most = Math.max(24, Math.floor(MOVING / Math.max(this.pieces.length, 1)));
    this.nest.parts.forEach((part, n) => {
      this.fine ??= this.meshes.map((mesh) => mesh.geometry);
      this.rough ??= [];
      if (isCoarse) this.rough[n] ??= shapeOf(coarse(part.vertices, part.faces, most));
      this.meshes[n].geometry = this.cores[n].geometry = (isCoarse ? this.rough : this.fine)[n];
    });
  }

  paint() {
    const dark = isDark();
    this.frame.material.color.set(colour("--edge"));
    this.front.material.color.set(colour("--ink"));
    this.floor.material.color.set(colour("--off"));
    this.inside.color.set(dark ? "#d9c391" : "#6b4c14");
    const strong = new THREE.Color(dark ? "#ffffff" : "#111111"), bad = new THREE.Color(colour("--bad"));
    for (const p of this.pieces) {
      const own = this.fates ? fateColour(this.fates.get(p.piece), dark) : lineColour(this.lineOrder.indexOf(p.line), dark);
      p.mesh.setColorAt(p.index, this.wrong.has(p.piece) ? bad : this.chosen === p ? strong : own);
    }
    this.meshes.forEach((m) => { m.instanceColor.needsUpdate = true; });
    super.paint();
  }

  cutAt(layer) {
    const whole = layer >= this.nest.layers;
    this.plane.constant = whole ? 1e6 : layer * this.nest.layer_mm;
    this.cores.forEach((core) => { core.visible = !whole; });
    this.draw();
  }

  pieceAt(clientX, clientY) {
    return this.hitAt(clientX, clientY)?.piece || null;
  }

  // The piece under a point of the screen and where it is met; null beside everything.
  hitAt(clientX, clientY) {
    if (this.isCoarse) this.coarsen(false); // what is pressed is the part itself
    const hits = this.ray(clientX, clientY).intersectObjects(this.meshes).filter((hit) => hit.point.z <= this.plane.constant);
    if (!hits.length) return null;
    return { piece: this.pieces.find((p) => p.mesh === hits[0].object && p.index === hits[0].instanceId), point: hits[0].point };
  }

  // Shows a piece elsewhere: `matrix` takes a point of the part into the chamber.
  stand(p, matrix) {
    p.mesh.setMatrixAt(p.index, matrix);
    p.core.setMatrixAt(p.index, matrix);
    for (const mesh of [p.mesh, p.core]) { mesh.instanceMatrix.needsUpdate = true; mesh.boundingSphere = null; }
    this.draw();
  }

  choose(p, by) {
    this.chosen = p || null;
    this.paint();
    tell(this, by);
    canvas.dispatchEvent(new Event("pick"));
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
  markCut(p && p.piece);
  if (!p) { picked.textContent = say("Pick a piece in the picture or in the list below."); return; }
  const line = view.nest.lines[String(p.line)];
  const link = document.createElement("a");
  link.href = box.dataset.lines + p.line;
  link.textContent = "L" + String(p.line).padStart(2, "0") + " " + line.title;
  const where = say("tray {tray}, {low} to {high} high", { tray: line.tray, low: lengthOf(p.low), high: lengthOf(p.high) });
  picked.replaceChildren(Object.assign(document.createElement("b"), { textContent: p.piece }), " – ", link, ", " + where);
  if (by === "list") canvas.scrollIntoView({ block: "nearest" });
}

// --- hands on it --------------------------------------------------------------------------------------------------
function listen(view) {
  const setLayer = (layer) => {
    slider.value = String(Math.max(0, Math.min(view.nest.layers, layer)));
    const now = Number(slider.value);
    shownLayer.textContent = say("{now} of {all} ({height})", { now, all: view.nest.layers, height: lengthOf(now * view.nest.layer_mm) });
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
  const moves = listenMoves(view);
  const step = Math.max(1, Math.round(view.nest.layers / 40));
  view.listen({
    tap: (x, y) => view.choose(view.pieceAt(x, y), "picture"),
    grab: (event) => moves.grab(event),
    keys: () => ({
      PageUp: () => setLayer(Number(slider.value) + step), PageDown: () => setLayer(Number(slider.value) - step),
      Home: () => setLayer(0), End: () => setLayer(view.nest.layers),
      Enter: () => view.choose(view.pieces[(view.pieces.indexOf(view.chosen) + 1) % view.pieces.length], "key"),
      Escape: () => view.choose(null, "key"),
      ...moves.keys(),
    }),
  });
  listenStop(view);
  setLayer(view.nest.layers);
}

async function begin() {
  let nest;
  try {
    const answer = await fetch(box.dataset.scene);
    if (!answer.ok) throw new Error(String(answer.status));
    nest = read(await answer.arrayBuffer());
  } catch (wrong) {
    note.textContent = say("The nest could not be loaded ({why}). Load the page again.", { why: wrong.message });
    return;
  }
  try {
    const view = new View(nest);
    listen(view);
    note.textContent = "";
    const wanted = new URLSearchParams(location.search).get("piece");
    if (wanted) view.choose(view.pieces.find((p) => p.piece === wanted), "address");
  } catch (wrong) {
    note.textContent = say("This browser cannot draw in 3D ({why}). The list and the papers say the same.", { why: wrong.message });
  }
}

begin();
