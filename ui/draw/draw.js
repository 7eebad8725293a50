// The drawing bench: marks on a photograph (boxes, outlines, the four corners of a card) by mouse, finger, pen
// or arrow keys. Marks go back in pixels of the full picture, whatever the preview's scale; it knows no colour.

const LOUPE_PX = 124;
const LOUPE_TIMES = 3;
const ZOOM_MOST = 8;
const TAP_PX = 6; // less than this is a tap, not a drawing
const REACH_PX = { touch: 26, pen: 18, mouse: 12 };
const OUTLINE_POINTS_MOST = 28;
const LABEL_ABOVE_PX = 18;
const LETTER_PX = 8; // of a label, with some room
const LABEL_BELOW_PX = 28;
const SMALL_MARK_PX = 70;
const EMIT_AFTER_MS = 120;

const benches = new WeakMap();
// The last marks by picture and revision: the page may build the bench anew at another place while Python still
// counts on what was drawn.
const remembered = new Map();

export default function ({ data, parentElement, setStateValue }) {
  const root = parentElement.querySelector(".bench");
  if (!root || !data) return undefined;
  if (!benches.has(root)) benches.set(root, new Bench(root));
  const bench = benches.get(root);
  const call = (bench.calls += 1);
  bench.take(data, (marks) => setStateValue("marks", marks));
  return () => {
    if (bench.calls === call) {
      bench.close();
      benches.delete(root);
    }
  };
}

class Bench {
  constructor(root) {
    this.calls = 0;
    this.root = root;
    this.toolbar = root.querySelector(".tools");
    this.mat = root.querySelector(".mat");
    this.stage = root.querySelector(".stage");
    this.image = root.querySelector(".picture");
    this.svg = root.querySelector(".lines");
    this.grips = root.querySelector(".grips");
    this.loupe = root.querySelector(".loupe");
    this.status = root.querySelector(".status");
    this.shapes = [];
    this.past = [];
    this.chosen = -1;
    this.zoom = 1;
    this.shift = { x: 0, y: 0 };
    this.pointers = new Map();
    this.drag = null;
    this.revision = undefined;
    this.stop = new AbortController();
    this.listen();
  }

  close() {
    this.stop.abort();
    this.watch.disconnect();
    clearTimeout(this.timer);
  }

  // ---- what Python sends -------------------------------------------------------------------------------

  take(data, emit) {
    const newPicture = !this.data || this.data.picture !== data.picture;
    const newTask = !this.data || this.data.task !== data.task || newPicture;
    this.data = data;
    this.emit = emit;
    if (newPicture) {
      this.image.src = data.picture;
      this.image.alt = data.alt || "The photograph";
      this.zoom = 1;
      this.shift = { x: 0, y: 0 };
    }
    if (data.revision !== this.revision) {
      this.revision = data.revision;
      this.shapes = (remembered.get(this.name()) || data.shapes || []).map(copy);
      this.past = [];
      this.chosen = this.shapes.length - 1;
    }
    if (newTask) this.tool = data.task === "corners" ? "corners" : (data.tools || ["box"])[0];
    this.buildTools();
    this.layout();
  }

  name() {
    return `${this.data.id} ${this.revision}`;
  }

  send() {
    clearTimeout(this.timer);
    remembered.set(this.name(), this.shapes.map(copy));
    const marks = { revision: this.revision, shapes: this.shapes.map(rounded) };
    this.timer = setTimeout(() => this.emit(marks), EMIT_AFTER_MS);
  }

  // ---- geometry: full-picture pixels <-> stage pixels ----------------------------------------------------

  layout() {
    const { width, height } = this.data;
    const style = getComputedStyle(this.mat);
    const room = this.mat.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
    if (room <= 0) return;
    const tallest = Math.max(240, Math.min(760, window.innerHeight * 0.66));
    this.fit = Math.min(room / width, tallest / height);
    this.stage.style.width = `${Math.round(width * this.fit)}px`;
    this.stage.style.height = `${Math.round(height * this.fit)}px`;
    this.image.style.width = `${width * this.fit}px`;
    this.image.style.height = `${height * this.fit}px`;
    this.render();
  }

  scale() {
    return this.fit * this.zoom;
  }

  toStage([x, y]) {
    return [x * this.scale() - this.shift.x, y * this.scale() - this.shift.y];
  }

  toPicture([x, y]) {
    const s = this.scale();
    return this.inside([(x + this.shift.x) / s, (y + this.shift.y) / s]);
  }

  inside([x, y]) {
    return [clamp(x, 0, this.data.width), clamp(y, 0, this.data.height)];
  }

  at(event) {
    const box = this.stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  zoomTo(zoom, [x, y]) {
    const next = clamp(zoom, 1, ZOOM_MOST);
    const ratio = next / this.zoom;
    this.shift = { x: (this.shift.x + x) * ratio - x, y: (this.shift.y + y) * ratio - y };
    this.zoom = next;
    this.keepInView();
    this.render();
  }

  keepInView() {
    const w = this.data.width * this.fit;
    const h = this.data.height * this.fit;
    this.shift.x = clamp(this.shift.x, 0, w * (this.zoom - 1));
    this.shift.y = clamp(this.shift.y, 0, h * (this.zoom - 1));
  }

  // ---- the toolbar -------------------------------------------------------------------------------------

  buildTools() {
    const { task, tools = ["box"] } = this.data;
    const bar = this.toolbar;
    bar.replaceChildren();
    if (task === "regions" && tools.length > 1) {
      const group = element("span", "group");
      for (const tool of tools) {
        const button = this.button(tool === "box" ? "Box" : "Outline", () => {
          this.tool = tool;
          this.buildTools();
          this.render();
        });
        button.setAttribute("aria-pressed", String(this.tool === tool));
        group.append(button);
      }
      bar.append(group);
    }
    if (task !== "look") {
      this.undoButton = this.button("Undo", () => this.undo());
      this.clearButton = this.button("Clear", () => this.clear());
      const place = task === "corners" ? "Place four corners" : "Place a box";
      this.middleButton = this.button(place, () => this.placeInMiddle());
      this.middleButton.title = "Puts it in the middle, to be moved by its corners or with the arrow keys";
      bar.append(this.undoButton, this.clearButton, this.middleButton);
    }
    const zoom = element("span", "group zoom");
    this.outButton = this.button("−", () => this.zoomTo(this.zoom / 1.6, this.middle()));
    this.outButton.setAttribute("aria-label", "Show more of the picture");
    this.inButton = this.button("+", () => this.zoomTo(this.zoom * 1.6, this.middle()));
    this.inButton.setAttribute("aria-label", "Look closer");
    zoom.append(this.outButton, this.inButton);
    bar.append(zoom);
  }

  button(label, action) {
    const button = element("button");
    button.type = "button";
    button.textContent = label;
    button.addEventListener("click", action, { signal: this.stop.signal });
    return button;
  }

  middle() {
    return [this.stage.clientWidth / 2, this.stage.clientHeight / 2];
  }

  remember() {
    this.past.push(this.shapes.map(copy));
    if (this.past.length > 60) this.past.shift();
  }

  changed() {
    this.render();
    this.send();
  }

  undo() {
    if (!this.past.length) return;
    this.shapes = this.past.pop();
    this.chosen = this.shapes.length - 1;
    this.changed();
  }

  clear() {
    if (!this.shapes.length) return;
    this.remember();
    this.shapes = [];
    this.chosen = -1;
    this.changed();
  }

  remove(index) {
    this.remember();
    this.shapes.splice(index, 1);
    this.chosen = this.shapes.length - 1;
    this.changed();
  }

  placeInMiddle() {
    const [w, h] = this.middle();
    const [left, top] = this.toPicture([w * 0.65, h * 0.65]);
    const [right, bottom] = this.toPicture([w * 1.35, h * 1.35]);
    const kind = this.data.task === "corners" ? "corners" : "box";
    this.remember();
    this.add({ kind, points: boxPoints([left, top], [right, bottom]) });
    this.changed();
    this.grips.querySelector(".grip")?.focus();
  }

  // A task that takes one mark replaces the last one, so that a second try needs no clearing first.
  add(shape) {
    const most = this.data.task === "corners" ? 1 : this.data.most || 1;
    while (this.shapes.length >= most) this.shapes.shift();
    this.shapes.push(shape);
    this.chosen = this.shapes.length - 1;
  }

  // ---- pointers ----------------------------------------------------------------------------------------

  listen() {
    const options = { signal: this.stop.signal };
    this.stage.addEventListener("pointerdown", (event) => this.down(event), options);
    this.stage.addEventListener("pointermove", (event) => this.move(event), options);
    this.stage.addEventListener("pointerup", (event) => this.up(event), options);
    this.stage.addEventListener("pointercancel", (event) => this.cancel(event), options);
    this.stage.addEventListener("contextmenu", (event) => event.preventDefault(), options);
    // Trackpads report a pinch as a wheel with ctrl; a plain wheel still scrolls the page.
    this.stage.addEventListener("wheel", (event) => {
      if (!event.ctrlKey) return;
      event.preventDefault();
      this.zoomTo(this.zoom * Math.exp(-event.deltaY / 120), this.at(event));
    }, { ...options, passive: false });
    // Some phones scroll on touchmove in spite of touch-action; this holds the page still under the finger.
    this.stage.addEventListener("touchmove", (event) => {
      if (event.cancelable && !(this.data.task === "look" && this.zoom === 1)) event.preventDefault();
    }, { ...options, passive: false });
    this.grips.addEventListener("keydown", (event) => this.key(event), options);
    this.image.addEventListener("load", () => this.layout(), options);
    this.watch = new ResizeObserver(() => this.data && this.layout());
    this.watch.observe(this.mat);
  }

  down(event) {
    if (event.button > 0) return;
    const point = this.at(event);
    this.pointers.set(event.pointerId, point);
    this.stage.setPointerCapture(event.pointerId);
    if (this.pointers.size === 2) {
      this.abandon();
      this.pinch = this.pinchState();
      return;
    }
    if (this.pointers.size > 2 || this.pinch) return;
    this.touching = event.pointerType !== "mouse";
    this.drag = this.startDrag(point, REACH_PX[event.pointerType] || REACH_PX.mouse);
    this.render();
    this.showLoupe(point);
  }

  startDrag(point, reach) {
    if (this.data.task === "look") return { what: "pan", from: point, shift: { ...this.shift } };
    const before = this.shapes.map(copy);
    const grip = this.nearestGrip(point, reach);
    if (grip) return { what: "grip", before, ...grip };
    const inside = this.shapeUnder(point);
    if (inside >= 0 && this.shapes[inside].points.length > 3) {
      this.chosen = inside;
      return { what: "carry", before, from: point, start: copy(this.shapes[inside]), moved: false };
    }
    if (this.tool === "corners") return this.startCorner(point, before);
    return { what: this.tool, before, from: point, trail: [point] };
  }

  startCorner(point, before) {
    const last = this.shapes[0];
    const open = last && last.points.length < 4;
    if (last && !open) return { what: "none", before };
    if (!open) this.shapes = [{ kind: "corners", points: [] }];
    this.shapes[0].points.push(this.toPicture(point));
    this.chosen = 0;
    return { what: "grip", before, shape: 0, vertex: this.shapes[0].points.length - 1, fresh: true };
  }

  move(event) {
    const point = this.at(event);
    if (!this.pointers.has(event.pointerId)) {
      this.stage.classList.toggle("carry", this.data.task !== "look" && this.shapeUnder(point) >= 0);
      return;
    }
    this.pointers.set(event.pointerId, point);
    if (this.pinch) return this.movePinch();
    const drag = this.drag;
    if (!drag) return undefined;
    if (drag.what === "grip") this.moveVertex(drag.shape, drag.vertex, this.toPicture(point));
    else if (drag.what === "carry") this.carry(drag, point);
    else if (drag.what === "pan") this.pan(drag, point);
    else if (drag.what === "box" || drag.what === "outline") drag.trail.push(point);
    this.render();
    this.showLoupe(point);
    return undefined;
  }

  up(event) {
    if (!this.pointers.delete(event.pointerId)) return;
    if (this.pinch) {
      if (!this.pointers.size) this.pinch = null;
      return;
    }
    const drag = this.drag;
    this.drag = null;
    this.loupe.hidden = true;
    if (!drag || drag.what === "pan") return;
    const made = this.finish(drag);
    if (made) {
      this.past.push(drag.before);
      this.changed();
    } else {
      this.render();
    }
  }

  finish(drag) {
    if (drag.what === "grip") {
      const shape = this.shapes[drag.shape];
      if (shape.kind === "corners" && shape.points.length === 4) shape.points = around(shape.points);
      return true;
    }
    if (drag.what === "carry") return drag.moved;
    if (drag.what !== "box" && drag.what !== "outline") return false;
    const shape = this.fromTrail(drag);
    if (!shape) {
      this.chosen = this.shapeUnder(drag.from);
      return false;
    }
    this.add(shape);
    return true;
  }

  fromTrail(drag) {
    const { what, from, trail } = drag;
    const end = trail[trail.length - 1];
    const xs = trail.map((p) => p[0]);
    const ys = trail.map((p) => p[1]);
    if (what === "box") {
      if (Math.abs(end[0] - from[0]) < TAP_PX || Math.abs(end[1] - from[1]) < TAP_PX) return null;
      return { kind: "box", points: boxPoints(this.toPicture(from), this.toPicture(end)) };
    }
    if (Math.max(...xs) - Math.min(...xs) < TAP_PX || Math.max(...ys) - Math.min(...ys) < TAP_PX) return null;
    const points = thinned(trail).map((p) => this.toPicture(p));
    return points.length < 3 ? null : { kind: "outline", points };
  }

  cancel(event) {
    this.pointers.delete(event.pointerId);
    if (!this.pointers.size) this.pinch = null;
    this.abandon();
  }

  abandon() {
    if (this.drag && this.drag.before) this.shapes = this.drag.before;
    if (this.chosen >= this.shapes.length) this.chosen = this.shapes.length - 1;
    this.drag = null;
    this.loupe.hidden = true;
    this.render();
  }

  pinchState() {
    const [a, b] = [...this.pointers.values()];
    return { apart: Math.hypot(a[0] - b[0], a[1] - b[1]), centre: [(a[0] + b[0]) / 2, (a[1] + b[1]) / 2] };
  }

  movePinch() {
    if (this.pointers.size < 2) return;
    const now = this.pinchState();
    this.shift.x -= now.centre[0] - this.pinch.centre[0];
    this.shift.y -= now.centre[1] - this.pinch.centre[1];
    this.zoomTo((this.zoom * now.apart) / Math.max(this.pinch.apart, 1), now.centre);
    this.pinch = now;
  }

  pan(drag, point) {
    this.shift = { x: drag.shift.x - (point[0] - drag.from[0]), y: drag.shift.y - (point[1] - drag.from[1]) };
    this.keepInView();
  }

  // ---- moving marks ------------------------------------------------------------------------------------

  nearestGrip(point, reach) {
    let best = null;
    let least = reach;
    const order = this.shapes.map((_, i) => i).sort((a) => (a === this.chosen ? -1 : 1));
    for (const shape of order) {
      this.shapes[shape].points.forEach((corner, vertex) => {
        const [x, y] = this.toStage(corner);
        const gap = Math.hypot(x - point[0], y - point[1]);
        if (gap < least) {
          least = gap;
          best = { shape, vertex };
        }
      });
    }
    if (best) this.chosen = best.shape;
    return best;
  }

  shapeUnder(point) {
    const spot = this.toPicture(point);
    for (let i = this.shapes.length - 1; i >= 0; i -= 1) if (holds(this.shapes[i].points, spot)) return i;
    return -1;
  }

  moveVertex(index, vertex, to) {
    const shape = this.shapes[index];
    if (shape.kind !== "box") {
      shape.points[vertex] = to;
      return;
    }
    const opposite = shape.points[(vertex + 2) % 4];
    const next = boxPoints(opposite, to);
    // Keep the held corner at its place in the order, so that the drag goes on with the same corner.
    const held = next.findIndex((p) => p[0] === to[0] && p[1] === to[1]);
    shape.points = next.map((_, i) => next[(i + held - vertex + 8) % 4]);
  }

  carry(drag, point) {
    const s = this.scale();
    const step = [(point[0] - drag.from[0]) / s, (point[1] - drag.from[1]) / s];
    if (Math.hypot(...step) * s > 3) drag.moved = true;
    if (drag.moved) this.shapes[this.chosen].points = this.shifted(drag.start.points, step);
  }

  shifted(points, [dx, dy]) {
    const xs = points.map((p) => p[0]);
    const ys = points.map((p) => p[1]);
    const sx = clamp(dx, -Math.min(...xs), this.data.width - Math.max(...xs));
    const sy = clamp(dy, -Math.min(...ys), this.data.height - Math.max(...ys));
    return points.map(([x, y]) => [x + sx, y + sy]);
  }

  key(event) {
    const grip = event.target.closest(".grip");
    if (!grip) return;
    const shape = Number(grip.dataset.shape);
    const vertex = Number(grip.dataset.vertex);
    if (event.key === "Delete" || event.key === "Backspace") {
      event.preventDefault();
      this.remove(shape);
      return;
    }
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (!way) return;
    event.preventDefault();
    const step = Math.max(1, (event.shiftKey ? 10 : 1) / this.scale());
    this.remember();
    this.chosen = shape;
    const points = this.shapes[shape].points;
    if (event.altKey) this.shapes[shape].points = this.shifted(points, [way[0] * step, way[1] * step]);
    else this.moveVertex(shape, vertex, this.inside([points[vertex][0] + way[0] * step, points[vertex][1] + way[1] * step]));
    this.changed();
  }

  // ---- what is shown -----------------------------------------------------------------------------------

  render() {
    if (!this.fit) return;
    this.image.style.transform = `translate(${-this.shift.x}px, ${-this.shift.y}px) scale(${this.zoom})`;
    this.stage.classList.toggle("look", this.data.task === "look");
    this.stage.classList.toggle("closer", this.zoom > 1);
    this.stage.classList.toggle("grab", Boolean(this.drag));
    this.renderLines();
    this.renderGrips();
    this.renderState();
  }

  renderLines() {
    const parts = [];
    for (const mark of this.data.fixed || []) {
      parts.push(this.path(mark.points, true, mark.proposed ? "fixed proposed" : "fixed", mark.label));
    }
    this.shapes.forEach((shape, i) => {
      const closed = shape.kind !== "corners" || shape.points.length === 4;
      const label = this.shapes.length > 1 ? String(i + 1) : "";
      parts.push(this.path(shape.points, closed, i === this.chosen ? "chosen" : "", label));
    });
    const drag = this.drag;
    if (drag && drag.what === "outline") parts.push(this.path(drag.trail.map((p) => this.toPicture(p)), false, "chosen", ""));
    if (drag && drag.what === "box") {
      const end = drag.trail[drag.trail.length - 1];
      parts.push(this.path(boxPoints(this.toPicture(drag.from), this.toPicture(end)), true, "chosen", ""));
    }
    this.svg.replaceChildren(...parts);
  }

  path(points, closed, name, label) {
    const group = svgElement("g");
    if (name) group.setAttribute("class", name);
    const d = points.map((p, i) => `${i ? "L" : "M"}${this.toStage(p).map((v) => v.toFixed(1)).join(" ")}`).join("");
    for (const side of ["under", "over"]) {
      const line = svgElement("path");
      line.setAttribute("class", side);
      line.setAttribute("d", closed ? `${d}Z` : d);
      group.append(line);
    }
    if (label && points.length) {
      const [x, y] = this.labelAt(points, name, label);
      const text = svgElement("text");
      text.setAttribute("x", String(x));
      text.setAttribute("y", String(y));
      if (name !== "fixed") text.setAttribute("text-anchor", "middle");
      text.textContent = label;
      group.append(text);
    }
    return group;
  }

  // A number stands clear of the corner rings: above its mark, or below it where the picture ends.
  // What is proposed has its word within, where there is room for it.
  labelAt(points, name, label) {
    const [left, top] = this.toStage([Math.min(...points.map((p) => p[0])), Math.min(...points.map((p) => p[1]))]);
    if (name === "fixed") return [Math.max(4, left + 4), Math.max(16, top - 7)];
    const [right, bottom] = this.toStage([Math.max(...points.map((p) => p[0])), Math.max(...points.map((p) => p[1]))]);
    if (name.endsWith("proposed")) {
      const room = right - left > label.length * LETTER_PX;
      return room ? this.toStage(middleOf(points)) : [(left + right) / 2, Math.max(16, top - 7)];
    }
    return [(left + right) / 2, top - LABEL_ABOVE_PX >= 14 ? top - LABEL_ABOVE_PX : bottom + LABEL_BELOW_PX];
  }

  // On a small mark full rings would hide what is marked.
  isSmall(points) {
    const spread = (axis) => Math.max(...points.map((p) => p[axis])) - Math.min(...points.map((p) => p[axis]));
    return points.length > 3 && Math.min(spread(0), spread(1)) * this.scale() < SMALL_MARK_PX;
  }

  // Grips are real buttons, reused from one drawing to the next, so that the keyboard's focus stays on its corner.
  renderGrips() {
    const wanted = [];
    if (this.data.task !== "look") {
      this.shapes.forEach((shape, i) => {
        if (shape.kind === "outline" && i !== this.chosen) return;
        const small = shape.kind === "outline" || this.isSmall(shape.points);
        shape.points.forEach((point, vertex) => wanted.push({ shape: i, vertex, point, small }));
      });
    }
    while (this.grips.children.length > wanted.length) this.grips.lastChild.remove();
    while (this.grips.children.length < wanted.length) {
      const grip = element("button", "grip");
      grip.type = "button";
      this.grips.append(grip);
    }
    wanted.forEach(({ shape, vertex, point, small }, i) => {
      const grip = this.grips.children[i];
      const [x, y] = this.toStage(point);
      const held = this.drag && this.drag.what === "grip" && this.drag.shape === shape && this.drag.vertex === vertex;
      grip.className = `grip${small ? " small" : ""}${held ? " held" : ""}`;
      grip.style.left = `${x}px`;
      grip.style.top = `${y}px`;
      grip.dataset.shape = String(shape);
      grip.dataset.vertex = String(vertex);
      grip.setAttribute("aria-label",
        `${this.data.noun || "mark"} ${shape + 1}, corner ${vertex + 1}, at ${Math.round(point[0])}, ${Math.round(point[1])} pixels. Arrow keys move it, with Shift further, with Alt the whole mark; Delete removes the mark.`);
    });
  }

  renderState() {
    const { task, noun = "mark", plural = `${noun}s`, most = 1 } = this.data;
    if (task !== "look") {
      this.undoButton.disabled = !this.past.length;
      this.clearButton.disabled = !this.shapes.length;
    }
    this.outButton.disabled = this.zoom <= 1;
    this.inButton.disabled = this.zoom >= ZOOM_MOST;
    const said = this.sentence(task, noun, plural, most);
    if (this.status.textContent !== said) this.status.textContent = said;
  }

  sentence(task, noun, plural, most) {
    if (task === "look") return "";
    if (task === "corners") {
      const count = this.shapes.length ? this.shapes[0].points.length : 0;
      if (!count) return `Tap the four corners of the ${noun}, one after another.`;
      if (count < 4) return `${4 - count} more ${count === 3 ? "corner" : "corners"} to tap.`;
      return "Drag a corner to correct it.";
    }
    const count = this.shapes.length;
    if (!count) return this.tool === "box" ? `Drag a box over the ${noun}.` : `Draw around the ${noun} in one stroke.`;
    const marked = count === 1 ? `1 ${noun} marked.` : `${count} ${plural} marked.`;
    return `${marked} Drag a corner to adjust it${count < most ? ", or mark another" : ""}.`;
  }

  // A finger hides what it points at; a mouse needs the loupe only for exact corners.
  showLoupe(point) {
    const drag = this.drag;
    const drawing = drag && (drag.what === "box" || drag.what === "outline");
    const wanted = drag && (drag.what === "grip" || (drawing && this.touching)) && this.image.complete;
    this.loupe.hidden = !wanted;
    if (!wanted) return;
    const ratio = window.devicePixelRatio || 1;
    const canvas = this.loupe;
    canvas.width = canvas.height = LOUPE_PX * ratio;
    const right = point[0] < this.stage.clientWidth / 2;
    canvas.style.left = right ? "auto" : "8px";
    canvas.style.right = right ? "8px" : "auto";
    canvas.style.top = "8px";
    this.paintLoupe(canvas.getContext("2d"), point, ratio);
  }

  paintLoupe(pen, point, ratio) {
    const times = this.scale() * LOUPE_TIMES;
    const [px, py] = this.toPicture(point);
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.fillStyle = "#898989";
    pen.fillRect(0, 0, LOUPE_PX, LOUPE_PX);
    pen.translate(LOUPE_PX / 2 - px * times, LOUPE_PX / 2 - py * times);
    pen.drawImage(this.image, 0, 0, this.data.width * times, this.data.height * times);
    for (const shape of this.shapes) this.strokeLoupe(pen, shape.points, times, shape.points.length > 3);
    if (this.drag.trail) this.strokeLoupe(pen, this.trailInPicture(), times, this.drag.what === "box");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.crosshair(pen);
  }

  trailInPicture() {
    const { what, from, trail } = this.drag;
    if (what === "box") return boxPoints(this.toPicture(from), this.toPicture(trail[trail.length - 1]));
    return trail.map((p) => this.toPicture(p));
  }

  strokeLoupe(pen, points, times, closed) {
    pen.beginPath();
    points.forEach(([x, y], i) => (i ? pen.lineTo(x * times, y * times) : pen.moveTo(x * times, y * times)));
    if (closed) pen.closePath();
    for (const [width, colour] of [[4, "rgba(0,0,0,0.7)"], [1.5, "#fff"]]) {
      pen.lineWidth = width;
      pen.strokeStyle = colour;
      pen.stroke();
    }
  }

  crosshair(pen) {
    const c = LOUPE_PX / 2;
    pen.beginPath();
    for (const [dx, dy] of [[1, 0], [-1, 0], [0, 1], [0, -1]]) {
      pen.moveTo(c + dx * 7, c + dy * 7);
      pen.lineTo(c + dx * 20, c + dy * 20);
    }
    for (const [width, colour] of [[4, "rgba(0,0,0,0.7)"], [1.8, "#fff"]]) {
      pen.lineWidth = width;
      pen.strokeStyle = colour;
      pen.stroke();
    }
  }
}

// ---- plane geometry ------------------------------------------------------------------------------------

function clamp(value, low, high) {
  return Math.min(Math.max(value, low), Math.max(low, high));
}

// The middle of an outline's area (the shoelace sums), where its word stands; of one with a notch too.
function middleOf(points) {
  let [area, x, y] = [0, 0, 0];
  points.forEach(([x1, y1], i) => {
    const [x2, y2] = points[(i + 1) % points.length];
    const part = x1 * y2 - x2 * y1;
    area += part;
    x += part * (x1 + x2);
    y += part * (y1 + y2);
  });
  return [x / (3 * area), y / (3 * area)];
}

function copy(shape) {
  return { kind: shape.kind, points: shape.points.map((p) => [p[0], p[1]]) };
}

function rounded(shape) {
  return { kind: shape.kind, points: shape.points.map((p) => p.map((v) => Math.round(v * 10) / 10)) };
}

function boxPoints([x1, y1], [x2, y2]) {
  const [left, right] = x1 < x2 ? [x1, x2] : [x2, x1];
  const [top, bottom] = y1 < y2 ? [y1, y2] : [y2, y1];
  return [[left, top], [right, top], [right, bottom], [left, bottom]];
}

// Corners tapped in any order become a quadrilateral that does not cross itself.
function around(points) {
  const cx = points.reduce((sum, p) => sum + p[0], 0) / points.length;
  const cy = points.reduce((sum, p) => sum + p[1], 0) / points.length;
  return [...points].sort((a, b) => Math.atan2(a[1] - cy, a[0] - cx) - Math.atan2(b[1] - cy, b[0] - cx));
}

function holds(points, [x, y]) {
  let odd = false;
  for (let i = 0, j = points.length - 1; i < points.length; j = i, i += 1) {
    const [xi, yi] = points[i];
    const [xj, yj] = points[j];
    if (yi > y !== yj > y && x < ((xj - xi) * (y - yi)) / (yj - yi) + xi) odd = !odd;
  }
  return odd;
}

// A stroke of hundreds of points becomes the few that hold its shape (Douglas and Peucker 1973), so that each can
// be dragged. The tolerance grows until few enough are left.
function thinned(trail) {
  for (let tolerance = 1.5; ; tolerance *= 1.4) {
    const kept = simplified(trail, tolerance);
    if (kept.length <= OUTLINE_POINTS_MOST) return kept;
  }
}

function simplified(points, tolerance) {
  if (points.length < 3) return points;
  const first = points[0];
  const last = points[points.length - 1];
  let far = 0;
  let index = 0;
  for (let i = 1; i < points.length - 1; i += 1) {
    const gap = fromLine(points[i], first, last);
    if (gap > far) {
      far = gap;
      index = i;
    }
  }
  if (far <= tolerance) return [first, last];
  return [...simplified(points.slice(0, index + 1), tolerance).slice(0, -1), ...simplified(points.slice(index), tolerance)];
}

function fromLine([x, y], [x1, y1], [x2, y2]) {
  const length = Math.hypot(x2 - x1, y2 - y1);
  if (length < 1e-9) return Math.hypot(x - x1, y - y1);
  return Math.abs((x2 - x1) * (y1 - y) - (x1 - x) * (y2 - y1)) / length;
}

function element(name, className) {
  const made = document.createElement(name);
  if (className) made.className = className;
  return made;
}

function svgElement(name) {
  return document.createElementNS("http://www.w3.org/2000/svg", name);
}
