// A body that turns: patches of skin as squares in space, the far ones drawn first, in the colours of the flat picture.
"use strict";
globalThis.turnBody = (box, skin, choose) => {
  const canvas = document.getElementById("body");
  const pen = canvas.getContext("2d");
  document.querySelector(".turn").hidden = false;

  // The colours: skin without dose, then each band from its lowest dose on.
  const [bare, ...steps] = box.dataset.steps.split(" ");
  const bands = steps.map((s) => s.split(":")).map(([from, colour]) => [Number(from), colour]);
  const colourOf = (dose) => bands.reduce((colour, [from, own]) => (dose >= from ? own : colour), bare);
  const shades = new Map();
  // shade darkens what looks away, so that the body has a form; bands keep two thirds of their range apart from each other.
  const shade = (colour, light) => {
    const step = Math.round(8 * light), key = colour + step;
    if (!shades.has(key)) {
      const part = 0.72 + 0.28 * step / 8;
      shades.set(key, "rgb(" + [1, 3, 5].map((i) => Math.round(parseInt(colour.slice(i, i + 2), 16) * part)).join() + ")");
    }
    return shades.get(key);
  };

  // Per patch: centre, normal, two edges in the plane; mm, left, posterior, head.
  const n = skin.patches, centre = new Float32Array(3 * n), normal = new Float32Array(3 * n), first = new Float32Array(3 * n), second = new Float32Array(3 * n);
  const colours = new Array(n);
  let low = Infinity, high = -Infinity, wide = 0;
  for (let i = 0; i < n; i++) {
    const c = [0, 1, 2].map((k) => skin.centres[3 * i + k] / 10);
    const v = [0, 1, 2].map((k) => skin.normals[3 * i + k] / 127);
    const a = Math.abs(v[2]) > 0.99 ? [0, 1, 0] : [-v[2] * v[0], -v[2] * v[1], 1 - v[2] * v[2]];
    const half = skin.edges[i] / 10 * 1.04, long = Math.hypot(...a);
    const b = [a[1] * v[2] - a[2] * v[1], a[2] * v[0] - a[0] * v[2], a[0] * v[1] - a[1] * v[0]];
    for (let k = 0; k < 3; k++) {
      centre[3 * i + k] = c[k];
      normal[3 * i + k] = v[k];
      first[3 * i + k] = half * a[k] / long;
      second[3 * i + k] = half * b[k] / long;
    }
    colours[i] = colourOf(skin.dose[i]);
    low = Math.min(low, c[2]);
    high = Math.max(high, c[2]);
    wide = Math.max(wide, Math.hypot(c[0], c[1]));
  }
  const middle = (low + high) / 2;

  let turn = 0, tilt = 0, zoom = 1, marked = -1, asked = false;
  // The eye looks from behind at turn 0: the patient's left is on the viewer's left.
  const turned = (from, i, sinT, cosT, sinU, cosU, shift) => {
    const x = from[3 * i], y = from[3 * i + 1], z = from[3 * i + 2] - shift;
    const across = -(x * cosT + y * sinT), toward = -x * sinT + y * cosT;
    return [across, z * cosU - toward * sinU, toward * cosU + z * sinU];
  };
  const shown = {x: new Float32Array(n), y: new Float32Array(n), front: new Uint8Array(n)};

  const draw = () => {
    asked = false;
    const sinT = Math.sin(turn), cosT = Math.cos(turn), sinU = Math.sin(tilt), cosU = Math.cos(tilt);
    const w = canvas.width, h = canvas.height, scale = zoom * Math.min(w / (2.15 * wide), h / (1.08 * (high - low)));
    pen.clearRect(0, 0, w, h);
    const seen = [], depth = new Float32Array(n);
    for (let i = 0; i < n; i++) {
      const v = turned(normal, i, sinT, cosT, sinU, cosU, 0);
      shown.front[i] = v[2] > 0 ? 1 : 0;
      if (v[2] <= 0) continue;
      const c = turned(centre, i, sinT, cosT, sinU, cosU, middle);
      shown.x[i] = w / 2 + scale * c[0];
      shown.y[i] = h / 2 - scale * c[1];
      depth[i] = c[2];
      seen.push([i, v[2]]);
    }
    seen.sort((a, b) => depth[a[0]] - depth[b[0]]);
    pen.lineWidth = 0.6;
    for (const [i, light] of seen) {
      const a = turned(first, i, sinT, cosT, sinU, cosU, 0), b = turned(second, i, sinT, cosT, sinU, cosU, 0);
      const x = shown.x[i], y = shown.y[i], ax = scale * a[0], ay = -scale * a[1], bx = scale * b[0], by = -scale * b[1];
      pen.fillStyle = pen.strokeStyle = shade(colours[i], light);
      pen.beginPath();
      pen.moveTo(x + ax + bx, y + ay + by);
      pen.lineTo(x + ax - bx, y + ay - by);
      pen.lineTo(x - ax - bx, y - ay - by);
      pen.lineTo(x - ax + bx, y - ay + by);
      pen.closePath();
      pen.fill();
      pen.stroke();
    }
    sides(sinT, cosT, sinU, scale, w, h);
    if (skin.peak >= 0) mark(skin.peak, true);
    if (marked >= 0 && marked !== skin.peak) mark(marked, false);
  };

  // sides writes where left, right and head are.
  const sides = (sinT, cosT, sinU, scale, w, h) => {
    const ink = getComputedStyle(canvas).color;
    pen.fillStyle = ink;
    pen.font = "600 13px sans-serif";
    pen.textAlign = "center";
    const put = (text, across) => {
      const x = w / 2 + across * (w / 2 - 32);
      pen.fillText(text, x, 16);
    };
    if (Math.abs(cosT) > 0.3) {
      put(box.dataset.wLeft, cosT > 0 ? -1 : 1);
      put(box.dataset.wRight, cosT > 0 ? 1 : -1);
    }
    pen.fillText(Math.abs(sinU) < 0.9 ? box.dataset.wHead : "", w / 2, 16);
  };

  // mark draws the sign of the peak, or the ring of the cursor; what lies on the other side is said.
  const mark = (patch, peak) => {
    if (!shown.front[patch]) {
      if (peak) {
        pen.fillStyle = getComputedStyle(canvas).color;
        pen.font = "13px sans-serif";
        pen.textAlign = "center";
        pen.fillText(box.dataset.wBehind, canvas.width / 2, canvas.height - 8);
      }
      return;
    }
    const x = shown.x[patch], y = shown.y[patch];
    for (const [colour, width] of [["#ffffff", 5], ["#1c1c1c", 2]]) {
      pen.strokeStyle = colour;
      pen.lineWidth = width;
      pen.beginPath();
      pen.arc(x, y, 7, 0, 2 * Math.PI);
      if (peak) {
        for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
          pen.moveTo(x + 4 * dx, y + 4 * dy);
          pen.lineTo(x + 13 * dx, y + 13 * dy);
        }
      }
      pen.stroke();
    }
  };

  const plan = () => {
    if (asked) return;
    asked = true;
    requestAnimationFrame(draw);
  };
  const by = (turning, tilting) => {
    turn += turning;
    tilt = Math.max(-1.4, Math.min(1.4, tilt + tilting));
    canvas.dataset.turn = turn.toFixed(2);
    plan();
  };
  const look = (toTurn, toTilt) => {
    turn = toTurn;
    tilt = toTilt;
    by(0, 0);
  };
  const toPeak = () => {
    if (skin.peak >= 0) look(Math.atan2(-normal[3 * skin.peak], normal[3 * skin.peak + 1]), 0);
  };
  const step = Math.PI / 12;
  const moves = {
    left: () => by(step, 0), right: () => by(-step, 0), up: () => by(0, step), down: () => by(0, -step), peak: toPeak, back: () => look(0, 0), front: () => look(Math.PI, 0),
  };
  for (const button of document.querySelectorAll("[data-turn]")) if (moves[button.dataset.turn]) button.addEventListener("click", moves[button.dataset.turn]);
  canvas.addEventListener("keydown", (event) => {
    const move = {ArrowLeft: moves.left, ArrowRight: moves.right, ArrowUp: moves.up, ArrowDown: moves.down, Home: toPeak}[event.key];
    if (!move) return;
    move();
    event.preventDefault();
  });

  let held = null;
  canvas.addEventListener("pointerdown", (event) => {
    held = [event.clientX, event.clientY];
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointerup", () => { held = null; });
  canvas.addEventListener("pointercancel", () => { held = null; });
  canvas.addEventListener("pointermove", (event) => {
    if (held) {
      by((held[0] - event.clientX) / 120, (event.clientY - held[1]) / 160);
      held = [event.clientX, event.clientY];
      return;
    }
    const box = canvas.getBoundingClientRect(), ratio = canvas.width / box.width;
    const x = (event.clientX - box.left) * ratio, y = (event.clientY - box.top) * ratio;
    let best = -1, least = 100;
    for (let i = 0; i < n; i++) {
      if (!shown.front[i]) continue;
      const d = (shown.x[i] - x) ** 2 + (shown.y[i] - y) ** 2;
      if (d < least) { least = d; best = i; }
    }
    if (best >= 0) choose(best);
  });
  box.addEventListener("chosen", (event) => {
    marked = event.detail;
    plan();
  });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", plan);
  toPeak();
};
