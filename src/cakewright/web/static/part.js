// One part in 3D with numbered places: turn it, go to a place. Everything here also works from the keyboard.
import * as THREE from "/static/vendor/three/three.module.js";

const box = document.querySelector("[data-mesh]");
const canvas = box.querySelector("canvas");
const note = box.querySelector(".stage-note");
const picked = box.querySelector(".picked");
const buttons = [...document.querySelectorAll(".go")];
const colour = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
const numbers = (text) => text.split(" ").map(Number);

function read(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  const start = 4 + length;
  return {
    vertices: new Float32Array(buffer, start, 3 * header.vertices),
    faces: new Uint32Array(buffer, start + 12 * header.vertices, 3 * header.faces),
  };
}

// A number in a ring, drawn on a small canvas: readable on every colour.
function badge(text, strong) {
  const small = document.createElement("canvas");
  small.width = small.height = 96;
  const pen = small.getContext("2d");
  pen.beginPath();
  pen.arc(48, 48, 40, 0, 2 * Math.PI);
  pen.fillStyle = strong ? "#e8871e" : "#ffffff";
  pen.fill();
  pen.lineWidth = 9;
  pen.strokeStyle = "#15171a";
  pen.stroke();
  pen.fillStyle = "#15171a";
  pen.font = "bold 46px sans-serif";
  pen.textAlign = "center";
  pen.textBaseline = "middle";
  pen.fillText(text, 48, 51);
  return new THREE.CanvasTexture(small);
}

class View {
  constructor(mesh) {
    this.turn = { around: -0.62, up: 0.5, far: 1 };
    this.scene = new THREE.Scene();
    this.camera = new THREE.PerspectiveCamera(35, 1, 0.1, 20000);
    this.camera.up.set(0, 0, 1);
    this.renderer = new THREE.WebGLRenderer({ canvas, antialias: true });
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(mesh.vertices, 3));
    shape.setIndex(new THREE.BufferAttribute(mesh.faces, 1));
    shape.computeBoundingBox();
    const size = shape.boundingBox.getSize(new THREE.Vector3());
    this.middle = shape.boundingBox.getCenter(new THREE.Vector3());
    this.centre = this.middle.clone();
    this.reach = size.length();
    this.skin = new THREE.MeshLambertMaterial({ flatShading: true, side: THREE.DoubleSide });
    this.scene.add(new THREE.Mesh(shape, this.skin));
    this.scene.add(new THREE.HemisphereLight(0xffffff, 0x777777, 2.2));
    this.lamp = new THREE.DirectionalLight(0xffffff, 1.6);
    this.scene.add(this.lamp, this.lamp.target);
    this.places = buttons.map((button) => this.addPlace(button));
    this.paint();
    this.resize();
  }

  addPlace(button) {
    const at = new THREE.Vector3(...numbers(button.dataset.at));
    const plain = badge(button.dataset.number, false), strong = badge(button.dataset.number, true);
    const sprite = new THREE.Sprite(new THREE.SpriteMaterial({ map: plain, depthTest: false }));
    sprite.position.copy(at);
    this.scene.add(sprite);
    return { at, look: new THREE.Vector3(...numbers(button.dataset.look)), sprite, plain, strong, button };
  }

  paint() {
    const dark = new THREE.Color(colour("--paper")).getHSL({}).l < 0.5;
    this.scene.background = new THREE.Color(colour("--sheet"));
    this.skin.color.set(dark ? "#9aa1a8" : "#b9b8b2");
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

  draw() {
    if (this.waiting) return;
    this.waiting = requestAnimationFrame(() => {
      this.waiting = 0;
      const { around, up, far } = this.turn;
      const away = (this.reach / 2 / Math.sin((this.camera.fov * Math.PI) / 360)) * far * 1.05 / Math.min(this.camera.aspect, 1);
      this.camera.position.set(
        this.centre.x + away * Math.cos(up) * Math.sin(around),
        this.centre.y - away * Math.cos(up) * Math.cos(around),
        this.centre.z + away * Math.sin(up));
      this.camera.lookAt(this.centre);
      this.lamp.position.copy(this.camera.position);
      this.lamp.target.position.copy(this.centre);
      for (const place of this.places) {
        const size = 0.055 * this.camera.position.distanceTo(place.at) * Math.tan((this.camera.fov * Math.PI) / 360) * 2;
        place.sprite.scale.set(size, size, 1);
      }
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
    this.turn.far = Math.max(0.05, Math.min(4, this.turn.far * factor));
    this.draw();
  }

  go(place) {
    this.chosen = place;
    for (const each of this.places) {
      const mine = each === place;
      each.sprite.material.map = mine ? each.strong : each.plain;
      each.button.setAttribute("aria-pressed", String(mine));
    }
    if (place) {
      this.centre.copy(place.at);
      this.turn.around = Math.atan2(place.look.x, -place.look.y);
      this.turn.up = Math.max(-1.5, Math.min(1.5, Math.asin(place.look.z)));
      this.turn.far = 0.4;
      canvas.dataset.place = place.button.dataset.number;
      picked.textContent = "Place " + place.button.dataset.number + ": " + place.button.closest("li").querySelector("p").textContent;
    } else {
      this.centre.copy(this.middle);
      this.turn.far = 1;
      delete canvas.dataset.place;
      picked.textContent = "The whole part.";
    }
    this.draw();
  }
}

function listen(view) {
  view.places.forEach((place) => place.button.addEventListener("click", () => {
    view.go(place);
    canvas.scrollIntoView({ block: "nearest" });
  }));
  canvas.addEventListener("keydown", (event) => {
    const act = {
      ArrowLeft: () => view.rotate(-0.15, 0), ArrowRight: () => view.rotate(0.15, 0),
      ArrowUp: () => view.rotate(0, 0.12), ArrowDown: () => view.rotate(0, -0.12),
      "+": () => view.zoom(0.85), "=": () => view.zoom(0.85), "-": () => view.zoom(1.18),
      Enter: () => { if (view.places.length) view.go(view.places[(view.places.indexOf(view.chosen) + 1) % view.places.length]); },
      Escape: () => view.go(null),
    }[event.key];
    if (!act || event.ctrlKey || event.altKey || event.metaKey) return;
    event.preventDefault();
    act();
  });
  let last = null;
  canvas.addEventListener("pointerdown", (event) => { canvas.setPointerCapture(event.pointerId); last = [event.clientX, event.clientY]; });
  canvas.addEventListener("pointermove", (event) => {
    if (!last || !event.isPrimary) return;
    view.rotate((last[0] - event.clientX) * 0.008, (event.clientY - last[1]) * 0.008);
    last = [event.clientX, event.clientY];
  });
  const up = () => { last = null; };
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("wheel", (event) => {
    if (document.activeElement !== canvas) return; // the page scrolls until somebody works in the picture
    event.preventDefault();
    view.zoom(event.deltaY > 0 ? 1.1 : 0.9);
  }, { passive: false });
  document.addEventListener("themechange", () => view.paint());
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => view.paint());
  new ResizeObserver(() => view.resize()).observe(canvas.parentElement);
}

async function begin() {
  let mesh;
  try {
    const answer = await fetch(box.dataset.mesh);
    if (!answer.ok) throw new Error(String(answer.status));
    mesh = read(await answer.arrayBuffer());
  } catch (wrong) {
    note.textContent = "The part could not be loaded (" + wrong.message + "). The pictures show the same.";
    return;
  }
  try {
    const view = new View(mesh);
    listen(view);
    note.textContent = "";
    const wanted = new URLSearchParams(location.search).get("place");
    const place = view.places.find((p) => p.button.dataset.number === wanted);
    if (place) view.go(place);
  } catch (wrong) {
    note.textContent = "This browser cannot draw in 3D (" + wrong.message + "). The pictures show the same.";
  }
}

begin();
