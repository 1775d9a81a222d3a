// A shape with few triangles, for a picture that moves on a machine without a graphics card: corners that fall into one
// cell of a grid become one, the outermost of them, so that the outline stays; triangles that lose a corner go.
const GRIDS = [48, 32, 24, 16, 12, 9, 7, 5, 4, 3, 2]; // cells along the longest side, tried until few enough are left

export function coarse(vertices, faces, most) {
  if (faces.length / 3 <= most) return { vertices, faces };
  const low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < vertices.length; i++) { low[i % 3] = Math.min(low[i % 3], vertices[i]); high[i % 3] = Math.max(high[i % 3], vertices[i]); }
  const size = Math.max(high[0] - low[0], high[1] - low[1], high[2] - low[2]) || 1;
  const away = (i) => Math.hypot(...[0, 1, 2].map((k) => vertices[3 * i + k] - (low[k] + high[k]) / 2));
  const far = Float32Array.from({ length: vertices.length / 3 }, (_, i) => away(i));
  let kept = faces;
  for (const cells of GRIDS) {
    kept = merged(vertices, faces, low, size / cells, far);
    if (kept.length / 3 <= most) break;
  }
  return { vertices, faces: kept };
}

// The triangles left when each corner is taken to the outermost corner of its cell.
function merged(vertices, faces, low, cell, far) {
  const of = new Int32Array(far.length), best = new Map();
  for (let i = 0; i < far.length; i++) {
    const at = (k) => Math.floor((vertices[3 * i + k] - low[k]) / cell);
    const key = at(0) + 64 * (at(1) + 64 * at(2));
    of[i] = key;
    const other = best.get(key);
    if (other === undefined || far[i] > far[other]) best.set(key, i);
  }
  const seen = new Set(), left = [];
  for (let f = 0; f < faces.length; f += 3) {
    const [a, b, c] = [0, 1, 2].map((k) => best.get(of[faces[f + k]]));
    if (a === b || b === c || a === c) continue;
    const first = Math.min(a, b, c), turned = first === a ? [a, b, c] : first === b ? [b, c, a] : [c, a, b];
    const name = turned.join();
    if (seen.has(name)) continue; // the same triangle, looking the same way
    seen.add(name);
    left.push(...turned);
  }
  return Uint32Array.from(left);
}
