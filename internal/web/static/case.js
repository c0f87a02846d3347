// The skin of a case: what lies under the cursor on the flat pictures, and the body that turns (turn.js). The patches come after
// the page, from a route of their own; without them the page works all the same.
"use strict";
(() => {
  const box = document.querySelector("[data-skin]");
  if (!box) return;
  const out = document.getElementById("readout");
  const word = (name) => box.dataset["w" + name[0].toUpperCase() + name.slice(1)];
  const decimal = box.dataset.decimal.charAt(1);
  const events = box.dataset.events.split("\n").map((line) => line.split("\t"));

  const bytes = (text) => Uint8Array.from(atob(text || ""), (c) => c.charCodeAt(0)).buffer;
  const read = (answer) => {
    const skin = {
      patches: answer.patches, peak: answer.peak, regions: answer.regions || [], region: new Uint8Array(bytes(answer.region)),
      centres: new Int16Array(bytes(answer.centres)), normals: new Int8Array(bytes(answer.normals)), edges: new Uint8Array(bytes(answer.edges)),
      flat: new Int16Array(bytes(answer.flat)), dose: new Float64Array(answer.patches), at: new Int32Array(answer.patches).fill(-1),
      words: answer.dose, most: answer.most_events, event: new Uint16Array(bytes(answer.event)), share: new Uint16Array(bytes(answer.share)),
      number: new Uint16Array(bytes(answer.number)), unknown: answer.events_unknown,
    };
    new Uint16Array(bytes(answer.hit)).forEach((patch, i) => { skin.dose[patch] = answer.dose_gy[i]; skin.at[patch] = i; });
    return skin;
  };

  const element = (name, text, attributes) => {
    const e = document.createElement(name);
    if (text) e.textContent = text;
    for (const key in attributes || {}) e.setAttribute(key, attributes[key]);
    return e;
  };
  const local = (text) => text.replace(/(\d)\.(\d)/g, "$1" + decimal + "$2");

  // tell writes what is known of a patch.
  const tell = (skin, patch) => {
    const first = element("p");
    const i = skin.at[patch];
    first.append(element("strong", i < 0 ? "–" : local(skin.words[i]), {id: "dose-here"}), " ", element("span", skin.regions[skin.region[patch]], {lang: "en"}));
    if (i < 0) {
      out.replaceChildren(first, element("p", word("none")));
      return;
    }
    if (skin.unknown) {
      const lost = element("p", word("lost") + " ");
      lost.append(element("span", skin.unknown, {lang: "en"}));
      out.replaceChildren(first, lost);
      return;
    }
    const list = element("ol");
    for (let k = 0; k < skin.most; k++) {
      const n = skin.event[i * skin.most + k];
      if (n === 65535) break;
      const [turn, tilt, kerma] = events[n] || [];
      const about = [turn, tilt, kerma && kerma + "\u00a0mGy"].filter(Boolean).join(", ");
      list.append(element("li", word("event") + " " + (n + 1) + ": " + local((skin.share[i * skin.most + k] / 100).toFixed(1)) + "\u00a0% (" + about + ")"));
    }
    out.replaceChildren(first, element("p", skin.number[i] + " " + word("events")), list);
  };

  // choose puts the cursor of every picture on a patch.
  let chosen = -1;
  const choose = (skin, patch) => {
    if (patch === chosen) return;
    chosen = patch;
    for (const cursor of box.querySelectorAll(".cursor")) {
      cursor.setAttribute("visibility", patch < 0 ? "hidden" : "visible");
      if (patch >= 0) {
        cursor.setAttribute("cx", skin.flat[2 * patch] / 10);
        cursor.setAttribute("cy", skin.flat[2 * patch + 1] / 10);
      }
    }
    if (patch >= 0) tell(skin, patch);
    box.dispatchEvent(new CustomEvent("chosen", {detail: patch}));
  };

  // nearest finds the patch at a place of the flat skin, in mm, -1 beside the skin.
  const nearest = (skin, x, y) => {
    let best = -1, least = 400; // within 2 cm
    for (let i = 0; i < skin.patches; i++) {
      const dx = skin.flat[2 * i] / 10 - x, dy = skin.flat[2 * i + 1] / 10 - y, d = dx * dx + dy * dy;
      if (d < least) { least = d; best = i; }
    }
    return best;
  };

  const listen = (skin, svg) => {
    const place = (event) => {
      const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      const patch = nearest(skin, p.x, p.y);
      if (patch >= 0) choose(skin, patch);
    };
    svg.addEventListener("pointermove", place);
    svg.addEventListener("pointerdown", place);
    if (svg.getAttribute("tabindex") === null) return;
    svg.addEventListener("keydown", (event) => {
      const steps = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}[event.key];
      if (event.key === "Home") {
        choose(skin, skin.peak);
      } else if (event.key === "Escape") {
        choose(skin, -1);
      } else if (steps) {
        const from = chosen < 0 ? skin.peak : chosen, far = event.shiftKey ? 50 : 10;
        const to = chosen < 0 ? from : nearest(skin, skin.flat[2 * from] / 10 + far * steps[0], skin.flat[2 * from + 1] / 10 + far * steps[1]);
        if (to >= 0) choose(skin, to);
      } else {
        return;
      }
      event.preventDefault();
    });
  };

  const load = async () => {
    try {
      const answer = await fetch(box.dataset.skin, {redirect: "error"});
      if (!answer.ok) throw new Error(String(answer.status));
      const skin = read(await answer.json());
      for (const svg of box.querySelectorAll("[data-flat]")) listen(skin, svg);
      if (globalThis.turnBody) globalThis.turnBody(box, skin, (patch) => choose(skin, patch));
      box.dataset.ready = "yes";
      if (skin.peak >= 0) choose(skin, skin.peak);
    } catch {
      out.textContent = word("failed");
    }
  };
  addEventListener("load", load);
})();
