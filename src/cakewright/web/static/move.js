// A piece moved by hand: dragged, turned, pinned or typed. The server judges every step; nothing is kept until accepted.
import { THREE } from "/static/orbit.js";

const box = document.querySelector("[data-scene]");
const panel = document.querySelector("[data-nest]");
const canvas = box.querySelector("canvas");
const AXES = { x: new THREE.Vector3(1, 0, 0), y: new THREE.Vector3(0, 1, 0), z: new THREE.Vector3(0, 0, 1) };
const WAIT_MS = 120; // from the last step of a hand to the question

const find = (name) => panel.querySelector(name);
const part = {
  mode: find(".move-mode"), lift: find(".lift"), tools: find(".tools"), place: find(".place"), turns: [...panel.querySelectorAll("[data-turn]")],
  pin: find(".pin-piece"), back: find(".put-back"), all: find(".all-back"), says: find(".judged"), list: find(".wrongs"),
  pins: find(".pins"), keep: find(".keep"), done: find(".kept"),
};

// Where a moved piece stands: its matrix now, and the move that says the same to the server.
class Moves {
  constructor(view) {
    this.view = view;
    this.byName = new Map(view.pieces.map((p) => [p.piece, p]));
    this.moved = new Map(); // piece -> {turns, shift: Vector3}
    this.pinned = new Set(view.nest.pinned);
    this.known = new Map();
    this.asked = 0;
    this.isOn = false;
    this.isGood = true;
  }

  // The box around a piece under a matrix.
  box(p, matrix) {
    const b = new THREE.Box3(), v = new THREE.Vector3();
    for (let i = 0; i < p.vertices.length; i += 3) b.expandByPoint(v.fromArray(p.vertices, i).applyMatrix4(matrix));
    return b;
  }

  // A turn about the middle of the box of a piece, and the lowest corner then: counted once for each way it was turned.
  turned(p, turns) {
    const key = p.piece + JSON.stringify(turns);
    if (!this.known.has(key)) {
      const middle = this.box(p, p.matrix).getCenter(new THREE.Vector3()), turn = new THREE.Matrix4();
      for (const { axis, degrees } of turns) turn.premultiply(new THREE.Matrix4().makeRotationAxis(AXES[axis], (degrees * Math.PI) / 180));
      const at = (v) => new THREE.Matrix4().makeTranslation(v.x, v.y, v.z);
      const about = at(middle).multiply(turn).multiply(at(middle.clone().negate()));
      const box = this.box(p, about.clone().multiply(p.matrix)), drift = middle.sub(box.getCenter(new THREE.Vector3()));
      this.known.set(key, { motion: at(drift).multiply(about), low: box.min.add(drift) });
    }
    return this.known.get(key);
  }

  // What a move does to everything in the chamber coordinates of its piece.
  motion(p, { turns, shift }) {
    return new THREE.Matrix4().makeTranslation(shift.x, shift.y, shift.z).multiply(this.turned(p, turns).motion);
  }

  // Shows a piece, and with a cage what is in it, where its move takes it.
  show(name) {
    const p = this.byName.get(name), move = this.moved.get(name);
    const motion = move ? this.motion(p, move) : new THREE.Matrix4();
    for (const each of [name, ...(this.view.nest.cages[name] || [])]) {
      const piece = this.byName.get(each);
      this.view.stand(piece, motion.clone().multiply(piece.matrix));
    }
    this.tellPlace();
  }

  change(name, by) {
    const move = this.moved.get(name) || { turns: [], shift: new THREE.Vector3() };
    if (by.shift) move.shift.add(by.shift);
    if (by.turn) {
      const last = move.turns.at(-1);
      if (last && last.axis === by.turn.axis) last.degrees = (last.degrees + by.turn.degrees) % 360; else move.turns.push({ ...by.turn });
      move.turns = move.turns.filter((t) => t.degrees !== 0);
    }
    if (move.turns.length || move.shift.length() > 1e-6) this.moved.set(name, move); else this.moved.delete(name);
    this.show(name);
    this.askSoon();
  }

  // The lowest corner of the box of a piece as it stands now.
  corner(p) {
    const move = this.moved.get(p.piece) || { turns: [], shift: new THREE.Vector3() };
    return this.turned(p, move.turns).low.clone().add(move.shift);
  }

  putBack(names) {
    for (const name of names) { this.moved.delete(name); this.show(name); }
    this.askSoon();
  }

  asMoves() {
    return [...this.moved].map(([piece, move]) => {
      const at = this.corner(this.byName.get(piece));
      const round = (v) => Math.round(v * 1e4) / 1e4;
      return { piece, x_mm: round(at.x), y_mm: round(at.y), z_mm: round(at.z), turns: move.turns };
    });
  }

  askSoon() {
    clearTimeout(this.timer);
    this.isGood = false;
    this.timer = setTimeout(() => this.ask(), WAIT_MS);
    part.says.textContent = say("Checking on the exact meshes…");
    this.tellDeeds();
  }

  // One question at a time; what changed meanwhile is asked as soon as the answer is there.
  async ask() {
    const mine = ++this.asked;
    if (this.isAsking) return;
    this.isAsking = true;
    try {
      const answer = await this.post("/judged", { moves: this.asMoves() });
      if (mine === this.asked) this.judged(answer);
    } catch (wrong) {
      if (mine === this.asked) { part.says.textContent = wrong.message; part.says.dataset.state = "bad"; }
    }
    this.isAsking = false;
    if (mine !== this.asked) this.ask();
  }

  async post(below, body) {
    const answer = await fetch(panel.dataset.nest + below, { method: "POST", headers: { "content-type": "application/json" }, body: JSON.stringify(body) });
    const said = await answer.json();
    if (answer.ok) return said;
    throw new Error(said.error.found + (said.error.remedy ? " → " + said.error.remedy : ""));
  }

  judged(answer) {
    this.isGood = answer.is_good;
    this.view.wrong = new Set(answer.wrongs.flatMap((w) => [w.piece, ...(w.other ? w.other.split(", ") : [])]));
    this.view.paint();
    const now = { height: lengthOf(answer.height_mm), before: lengthOf(answer.height_before_mm), hours: (answer.print_s / 3600).toFixed(2),
      hoursBefore: (answer.print_before_s / 3600).toFixed(2), n: answer.wrongs.length };
    const numbers = say("Build height {height} (was {before}), print {hours} h (was {hoursBefore} h).", now);
    part.says.dataset.state = this.moved.size ? (answer.is_good ? "good" : "bad") : "";
    part.says.textContent = !this.moved.size ? say("Nothing is moved.")
      : (answer.is_good ? "✓ " + say("Clear: distances, walls and the way out hold.") : "✗ " + say("Wrong in {n} places; it cannot be kept so.", now)) + " " + numbers;
    part.list.replaceChildren(...answer.wrongs.map((w) => Object.assign(document.createElement("li"), { textContent: w.words })));
    this.tellDeeds();
  }

  // --- words and buttons ------------------------------------------------------------------------------------------
  tellPlace() {
    const p = this.view.chosen;
    part.place.hidden = !p || !this.isOn;
    part.pin.disabled = !p;
    part.back.disabled = !p || !this.moved.has(p.piece);
    part.pin.setAttribute("aria-pressed", String(Boolean(p) && this.pinned.has(p.piece)));
    if (!p) return;
    const at = this.corner(p);
    for (const axis of ["x", "y", "z"]) {
      const field = part.place.elements[axis];
      if (field !== document.activeElement) field.value = at[axis].toFixed(2);
    }
  }

  tellDeeds() {
    const before = new Set(this.view.nest.pinned), same = before.size === this.pinned.size && [...before].every((name) => this.pinned.has(name));
    part.all.disabled = !this.moved.size;
    part.keep.hidden = !this.moved.size && same;
    part.keep.querySelector("button").disabled = this.moved.size > 0 && !this.isGood;
    part.pins.textContent = this.pinned.size ? say("Pinned: {names}.", { names: [...this.pinned].sort().join(", ") }) : say("Nothing is pinned.");
  }

  togglePin() {
    const p = this.view.chosen;
    if (!p) return;
    if (this.pinned.has(p.piece)) this.pinned.delete(p.piece); else this.pinned.add(p.piece);
    this.tellPlace();
    this.tellDeeds();
  }

  switch(on) {
    this.isOn = on;
    part.mode.setAttribute("aria-pressed", String(on));
    part.tools.hidden = !on;
    canvas.dataset.moving = on ? "yes" : "";
    this.tellPlace();
    this.tellDeeds();
  }

  async keep() {
    const name = part.keep.elements.by.value;
    part.done.textContent = say("Keeping: proof, hours, heat and dates are computed…");
    part.keep.querySelector("button").disabled = true;
    try {
      const job = await this.post("", { moves: this.asMoves(), pinned: [...this.pinned], by: name });
      location.assign("/jobs/" + job.number + "?then=open");
    } catch (wrong) {
      part.done.textContent = wrong.message;
      this.tellDeeds();
    }
  }
}

// Keys of the picture while pieces are moved; the arrows then move the piece along the walls of the chamber.
function keysOf(moves) {
  const by = (x, y, z) => (event) => {
    if (!moves.view.chosen) return false;
    const step = event.shiftKey ? 10 : 1;
    moves.change(moves.view.chosen.piece, { shift: new THREE.Vector3(x, y, z).multiplyScalar(step) });
    return true;
  };
  const turn = (axis, degrees) => () => { if (!moves.view.chosen) return false; moves.change(moves.view.chosen.piece, { turn: { axis, degrees } }); return true; };
  return {
    ArrowLeft: by(-1, 0, 0), ArrowRight: by(1, 0, 0), ArrowUp: by(0, 1, 0), ArrowDown: by(0, -1, 0), PageUp: by(0, 0, 1), PageDown: by(0, 0, -1),
    r: turn("z", 15), R: turn("z", -15), x: turn("x", 90), y: turn("y", 90),
    p: () => moves.togglePin(), Backspace: () => { if (moves.view.chosen) moves.putBack([moves.view.chosen.piece]); },
    Escape: () => moves.switch(false),
  };
}

// A press on a piece takes hold of it: it follows along the floor, or up and down when lifted.
function grabOf(moves, event) {
  const { view } = moves, hit = view.hitAt(event.clientX, event.clientY);
  if (!hit) return null;
  const holder = Object.entries(view.nest.cages).find(([, pieces]) => pieces.includes(hit.piece.piece));
  const p = holder ? moves.byName.get(holder[0]) : hit.piece; // what stands in a cage moves with it
  view.choose(p, "picture");
  const lifts = event.shiftKey || part.lift.getAttribute("aria-pressed") === "true";
  const facing = view.camera.position.clone().sub(hit.point).setZ(0).normalize();
  const plane = new THREE.Plane().setFromNormalAndCoplanarPoint(lifts ? facing : AXES.z, hit.point);
  const last = hit.point.clone(), now = new THREE.Vector3();
  return {
    move: (at) => {
      if (!view.ray(at.clientX, at.clientY).ray.intersectPlane(plane, now)) return;
      const shift = now.clone().sub(last);
      if (lifts) shift.set(0, 0, shift.z);
      last.copy(now);
      moves.change(p.piece, { shift });
    },
    drop: () => { clearTimeout(moves.timer); if (moves.moved.size) moves.ask(); },
  };
}

export function listenMoves(view) {
  const moves = new Moves(view);
  canvas.addEventListener("pick", () => moves.tellPlace());
  part.mode.addEventListener("click", () => moves.switch(!moves.isOn));
  part.lift.addEventListener("click", () => part.lift.setAttribute("aria-pressed", String(part.lift.getAttribute("aria-pressed") !== "true")));
  part.pin.addEventListener("click", () => moves.togglePin());
  part.back.addEventListener("click", () => moves.putBack([view.chosen.piece]));
  part.all.addEventListener("click", () => moves.putBack([...moves.moved.keys()]));
  part.turns.forEach((button) => button.addEventListener("click", () => {
    if (view.chosen) moves.change(view.chosen.piece, { turn: { axis: button.dataset.turn, degrees: Number(button.dataset.degrees) } });
  }));
  part.place.addEventListener("change", () => {
    const at = moves.corner(view.chosen), wanted = (axis) => Number(part.place.elements[axis].value.replace(",", "."));
    const shift = new THREE.Vector3(wanted("x") - at.x, wanted("y") - at.y, wanted("z") - at.z);
    if (Number.isFinite(shift.x + shift.y + shift.z)) moves.change(view.chosen.piece, { shift });
  });
  part.place.addEventListener("submit", (event) => event.preventDefault());
  part.keep.addEventListener("submit", (event) => { event.preventDefault(); moves.keep(); });
  moves.tellDeeds();
  return { keys: () => moves.isOn ? keysOf(moves) : {}, grab: (event) => moves.isOn ? grabOf(moves, event) : null };
}
