// A thing in 3D that somebody looks at from all sides: by mouse, by finger, by keyboard. What is in it comes from elsewhere.
import * as THREE from "/static/vendor/three/three.module.js";

export { THREE };
export const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
export const isDark = () => new THREE.Color(colour("--paper")).getHSL({}).l < 0.5;
const SLOW_MS = 45, COARSE = 0.5, REST_MS = 250; // slower frames than this are drawn with half the pixels until one rests
const STEEPEST = 1.5; // rad; never quite from above, where left and right would change places

export class Orbit {
  // `start` {around, up}: where one looks from at first; `closest` and `farthest` bound the zoom.
  constructor(canvas, { start, closest, farthest, near }) {
    this.canvas = canvas;
    this.turn = { around: -0.65, up: 0.5, far: 1, ...start };
    this.bounds = [closest, farthest];
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(35, 1, near, 20000);
    this.camera.up.set(0, 0, 1);
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true });
    this.scene.add(new THREE.HemisphereLight(0xffffff, 0x777777, 2.2));
    this.lamp = new THREE.DirectionalLight(0xffffff, 1.6);
    this.scene.add(this.lamp, this.lamp.target);
    this.centre = new THREE.Vector3();
    this.reach = 1;
  }

  // Subclasses colour what is theirs, then call this.
  paint() {
    this.scene.background = new THREE.Color(colour("--sheet"));
    this.draw();
  }

  // Subclasses may place what depends on the camera.
  beforeDraw() {}

  // Subclasses may draw less while the picture moves on a slow machine, and all of it again when it rests.
  coarsen() {}

  resize() {
    const w = this.canvas.clientWidth, h = this.canvas.clientHeight;
    if (!w || !h) return;
    this.renderer.setPixelRatio(Math.min(window.devicePixelRatio, 2) * (this.isCoarse ? COARSE : 1));
    this.renderer.setSize(w, h, false);
    this.camera.aspect = w / h;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  place() {
    const { around, up, far } = this.turn;
    const away = (this.reach / 2 / Math.sin((this.camera.fov * Math.PI) / 360)) * far * 1.05 / Math.min(this.camera.aspect, 1);
    this.camera.position.set(
      this.centre.x + away * Math.cos(up) * Math.sin(around),
      this.centre.y - away * Math.cos(up) * Math.cos(around),
      this.centre.z + away * Math.sin(up));
    this.camera.lookAt(this.centre);
    this.camera.updateMatrixWorld();
    this.lamp.position.copy(this.camera.position);
    this.lamp.target.position.copy(this.centre);
  }

  // Draws at the next frame, once, however often it is asked.
  draw() {
    if (this.waiting) return;
    this.waiting = requestAnimationFrame((now) => {
      this.waiting = 0;
      this.keepUp(now);
      this.drawNow();
    });
  }

  // On a slow machine a moving picture is coarse and follows the hand; it becomes sharp when the hand rests.
  keepUp(now) {
    if (this.canvas.dataset.sharp) return; // whoever measures wants all of it in every frame
    const gap = now - (this.last || 0);
    this.last = now;
    this.slow = gap > SLOW_MS && gap < 1000 ? (this.slow || 0) + 1 : gap < SLOW_MS ? 0 : this.slow;
    if (this.slow > 2 && !this.isCoarse) this.beCoarse(true);
    if (!this.isCoarse) return;
    clearTimeout(this.rest);
    this.rest = setTimeout(() => { this.slow = 0; this.beCoarse(false); }, REST_MS);
  }

  beCoarse(isCoarse) {
    this.isCoarse = isCoarse;
    this.canvas.dataset.coarse = isCoarse ? "yes" : "";
    this.coarsen(isCoarse);
    this.resize();
  }

  drawNow() {
    this.place();
    this.beforeDraw();
    this.renderer.render(this.scene, this.camera);
    this.canvas.dataset.frames = String(Number(this.canvas.dataset.frames || 0) + 1);
    this.canvas.dataset.calls = String(this.renderer.info.render.calls);
    this.canvas.dataset.triangles = String(this.renderer.info.render.triangles);
  }

  rotate(around, up) {
    this.turn.around += around;
    this.turn.up = Math.max(-STEEPEST, Math.min(STEEPEST, this.turn.up + up));
    this.draw();
  }

  zoom(factor) {
    this.turn.far = Math.max(this.bounds[0], Math.min(this.bounds[1], this.turn.far * factor));
    this.draw();
  }

  // The ray under a point of the screen.
  ray(clientX, clientY) {
    const r = this.canvas.getBoundingClientRect(), ray = new THREE.Raycaster();
    ray.setFromCamera(new THREE.Vector2(((clientX - r.left) / r.width) * 2 - 1, 1 - ((clientY - r.top) / r.height) * 2), this.camera);
    return ray;
  }

  // Hands on it. `keys`: more keys {key: deed(event)}, asked first, a deed that answers false leaves the key to the next;
  // `tap(x, y)`: a press that did not move; `grab(event)`: answers {move(event), drop(event)} when the press takes hold of
  // something, else nothing and the view turns.
  listen({ keys = () => ({}), tap = () => {}, grab = () => null } = {}) {
    const look = {
      ArrowLeft: () => this.rotate(-0.15, 0), ArrowRight: () => this.rotate(0.15, 0),
      ArrowUp: () => this.rotate(0, 0.12), ArrowDown: () => this.rotate(0, -0.12),
      "+": () => this.zoom(0.85), "=": () => this.zoom(0.85), "-": () => this.zoom(1.18),
    };
    this.canvas.addEventListener("keydown", (event) => {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      const own = keys()[event.key], act = own && own(event) !== false ? true : look[event.key];
      if (!act) return;
      event.preventDefault();
      if (act !== true) act();
    });
    this.canvas.addEventListener("wheel", (event) => {
      if (document.activeElement !== this.canvas) return; // the page scrolls until somebody works in the picture
      event.preventDefault();
      this.zoom(event.deltaY > 0 ? 1.1 : 0.9);
    }, { passive: false });
    this.listenPointers(tap, grab);
    document.addEventListener("themechange", () => this.paint());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.paint());
    new ResizeObserver(() => this.resize()).observe(this.canvas.parentElement);
  }

  listenPointers(tap, grab) {
    const down = new Map();
    let moved = 0, gap = 0, held = null;
    this.canvas.addEventListener("pointerdown", (event) => {
      this.canvas.setPointerCapture(event.pointerId);
      down.set(event.pointerId, [event.clientX, event.clientY]);
      moved = gap = 0;
      held = down.size === 1 ? grab(event) : null;
    });
    this.canvas.addEventListener("pointermove", (event) => {
      if (!down.has(event.pointerId)) return;
      const [x, y] = down.get(event.pointerId), dx = event.clientX - x, dy = event.clientY - y;
      moved += Math.abs(dx) + Math.abs(dy);
      down.set(event.pointerId, [event.clientX, event.clientY]);
      if (down.size === 1) { if (held) held.move(event); else this.rotate(-dx * 0.008, dy * 0.008); return; }
      const [a, b] = [...down.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (gap) this.zoom(gap / Math.max(now, 1));
      gap = now;
    });
    const up = (event) => {
      const was = down.delete(event.pointerId);
      gap = 0;
      if (held) { held.drop(event); held = null; }
      if (was && event.type === "pointerup" && moved < 6) tap(event.clientX, event.clientY);
    };
    this.canvas.addEventListener("pointerup", up);
    this.canvas.addEventListener("pointercancel", up);
  }
}
