// One part in 3D with numbered places: turn it, go to a place. Everything here also works from the keyboard.
import { Orbit, THREE, isDark } from "/static/orbit.js";

const box = document.querySelector("[data-mesh]");
const canvas = box.querySelector("canvas");
const note = box.querySelector(".stage-note");
const picked = box.querySelector(".picked");
const buttons = [...document.querySelectorAll(".go")];
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

class View extends Orbit {
  constructor(mesh) {
    super(canvas, { start: { around: -0.62 }, closest: 0.05, farthest: 4, near: 0.1 });
    const shape = new THREE.BufferGeometry();
    shape.setAttribute("position", new THREE.BufferAttribute(mesh.vertices, 3));
    shape.setIndex(new THREE.BufferAttribute(mesh.faces, 1));
    shape.computeBoundingBox();
    this.middle = shape.boundingBox.getCenter(new THREE.Vector3());
    this.centre.copy(this.middle);
    this.reach = shape.boundingBox.getSize(new THREE.Vector3()).length();
    this.skin = new THREE.MeshLambertMaterial({ flatShading: true, side: THREE.DoubleSide });
    this.scene.add(new THREE.Mesh(shape, this.skin));
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
    this.skin.color.set(isDark() ? "#9aa1a8" : "#b9b8b2");
    super.paint();
  }

  beforeDraw() {
    for (const place of this.places) {
      const size = 0.055 * this.camera.position.distanceTo(place.at) * Math.tan((this.camera.fov * Math.PI) / 360) * 2;
      place.sprite.scale.set(size, size, 1);
    }
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
      picked.textContent = say("Place {n}", { n: place.button.dataset.number }) + ": " + place.button.closest("li").querySelector("p").textContent;
    } else {
      this.centre.copy(this.middle);
      this.turn.far = 1;
      delete canvas.dataset.place;
      picked.textContent = say("The whole part.");
    }
    this.draw();
  }
}

function listen(view) {
  view.places.forEach((place) => place.button.addEventListener("click", () => {
    view.go(place);
    canvas.scrollIntoView({ block: "nearest" });
  }));
  view.listen({ keys: () => ({
    Enter: () => { if (view.places.length) view.go(view.places[(view.places.indexOf(view.chosen) + 1) % view.places.length]); },
    Escape: () => view.go(null),
  }) });
}

async function begin() {
  let mesh;
  try {
    const answer = await fetch(box.dataset.mesh);
    if (!answer.ok) throw new Error(String(answer.status));
    mesh = read(await answer.arrayBuffer());
  } catch (wrong) {
    note.textContent = say("The part could not be loaded ({why}). The pictures show the same.", { why: wrong.message });
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
    note.textContent = say("This browser cannot draw in 3D ({why}). The pictures show the same.", { why: wrong.message });
  }
}

begin();
