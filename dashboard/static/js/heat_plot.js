// A heat drawn with Bokeh: phases and passes, temperatures, oxygen, flow, one time axis for all.

const DASHES = [[], [8, 4], [2, 3], [10, 3, 2, 3], [16, 4], [5, 2, 1, 2, 1, 2]];
const LEFT = 58;
const RIGHT = 14;
const LANE = 54;
const FOOT = 26;
const HEIGHTS = { temperature: 330, oxygen: 130, flow: 110 };
const NARROW = { temperature: 250, oxygen: 110, flow: 90 };
const TICKS = { temperature: 6, oxygen: 4, flow: 3 };
const CLOSEST_MS = 10_000;
/** Where a line carries its letter, as shares of its points in view. */
const LETTERED = [0.12, 0.58];
const LETTER_PX = 8;
const LEAST_PPM = 1;
/** From the left edge of a frame [px]. */
const LABEL_AT = 8;

/**
 * Draw it. ``heat``: from, to [ms on the axis], panels {name: title}, lines [{panel, letter}], limits
 * [{from, to, low, high, ppm}], phases and passes [{from, to, text}], alarms and notes [ms],
 * words {preheat, interpass, oxygen}; ``on``: range(from, to) and moment(ms).
 */
export async function plot(bokeh, place, heat, inks, on) {
  const made = new Plot(bokeh, heat, inks, on);
  await made.draw(place);
  return made;
}

class Plot {
  #figures = new Map();
  #letters = [];
  #sources = [];
  #marks = [];
  #view = null;

  constructor(bokeh, heat, inks, on) {
    Object.assign(this, { bokeh, heat, inks, on });
    this.range = new bokeh.Range1d({ start: heat.from, end: heat.to, bounds: [heat.from, heat.to], min_interval: CLOSEST_MS });
    this.range.change.connect(() => {
      this.#fitLane();
      on.range(this.range.start, this.range.end);
    });
  }

  async draw(place) {
    const lane = this.#lane();
    const names = Object.keys(this.heat.panels);
    names.forEach((name, i) => this.#figures.set(name, this.#panel(name, i === names.length - 1)));
    this.#limits();
    this.heat.lines.forEach((line) => this.#line(line));
    const children = [lane, ...this.#figures.values()];
    for (const figure of children) this.#both(figure);
    // Where it stands decides how wide it is: the layout asks its place once, then at every change.
    this.#view = await this.bokeh.Plotting.show(new this.bokeh.Column({ children, sizing_mode: "stretch_width", spacing: 2 }), place);
    this.#fitLane();
  }

  remove() {
    this.#view?.remove();
  }

  /** Show a stretch [ms]; ``on.range`` is told. */
  look(from, to) {
    const [low, high] = [this.heat.from, this.heat.to];
    const wide = Math.min(Math.max(to - from, CLOSEST_MS), high - low);
    const start = Math.min(Math.max(from, low), high - wide);
    this.range.setv({ start, end: start + wide });
  }

  /** Points of every line in order: [{x: [ms], y: [value]}], NaN where a line breaks. */
  fill(points) {
    points.forEach((each, i) => {
      this.#sources[i].data = { x: each.x, y: this.heat.lines[i].panel === "oxygen" ? each.y.map((ppm) => Math.max(ppm, LEAST_PPM)) : each.y };
      this.#letters[i].data = lettersOf(this.#sources[i].data, this.heat.lines[i].letter);
    });
    for (const [name, figure] of this.#figures) {
      const { start, end } = this.#heights(name);
      figure.y_range.setv({ start, end });
    }
  }

  /** A line across at a moment [ms]; null: none. */
  mark(ms) {
    for (const span of this.#marks) span.setv({ location: ms ?? 0, visible: ms !== null });
  }

  #figure(given) {
    const { bokeh, inks } = this;
    const figure = bokeh.Plotting.figure({
      x_axis_type: "datetime", x_range: this.range, sizing_mode: "stretch_width", toolbar_location: null, tools: [],
      min_border_left: LEFT, min_border_right: RIGHT, min_border_top: 4, min_border_bottom: 4,
      background_fill_color: null, border_fill_color: null, outline_line_color: inks.rule, ...given,
    });
    const coarse = matchMedia("(pointer: coarse)").matches;
    // A wheel scrolls the page; with Ctrl, or two fingers, it looks closer. One finger scrolls the page.
    const wheel = new bokeh.WheelZoomTool({ dimensions: "width", modifiers: { ctrl: true } });
    const box = coarse ? null : new bokeh.BoxZoomTool({ dimensions: "width" });
    figure.add_tools(...[wheel, box].filter(Boolean));
    figure.toolbar.active_drag = box;
    figure.toolbar.active_scroll = wheel;
    for (const axis of [...figure.below, ...figure.left]) {
      Object.assign(axis, { axis_line_color: inks.line, major_tick_line_color: inks.line, minor_tick_line_color: null, major_label_text_color: inks.soft, axis_label_text_color: inks.ink, major_label_text_font: inks.font, axis_label_text_font: inks.font, major_label_text_font_size: "13px", axis_label_text_font_size: "13px", axis_label_text_font_style: "bold", axis_label_standoff: 4 });
    }
    for (const grid of figure.center) grid.grid_line_color = inks.rule;
    figure.on_event("mousemove", (event) => this.on.moment(event.x));
    figure.on_event("tap", (event) => this.on.moment(event.x));
    return figure;
  }

  #panel(name, last) {
    const { bokeh, heat, inks } = this;
    const heights = matchMedia("(max-width: 640px)").matches ? NARROW : HEIGHTS;
    const figure = this.#figure({ height: heights[name] + (last ? FOOT : 0), y_axis_type: name === "oxygen" ? "log" : "linear", y_range: new bokeh.Range1d({ start: 1, end: 10 }) });
    const [below] = figure.below;
    below.visible = last;
    below.formatter = new bokeh.DatetimeTickFormatter({ milliseconds: "%H:%M:%S", seconds: "%H:%M:%S", minsec: "%H:%M:%S", minutes: "%H:%M", hourmin: "%H:%M", hours: "%H:%M", days: "%d.%m." });
    if (last) below.axis_label = heat.axis;
    figure.left[0].axis_label = heat.panels[name];
    figure.left[0].ticker.desired_num_ticks = TICKS[name];
    for (const phase of heat.phases.slice(1)) figure.add_layout(new bokeh.Span({ location: phase.from, dimension: "height", line_color: inks.soft, line_width: 1, line_dash: [1, 4] }));
    for (const pass of heat.passes) figure.add_layout(new bokeh.BoxAnnotation({ left: pass.from, right: pass.to, fill_color: inks.arc, fill_alpha: 0.25, line_color: null }));
    return figure;
  }

  /** Phases in one row, passes, alarms and notes in the other. */
  #lane() {
    const { bokeh, heat, inks } = this;
    const figure = this.#figure({ height: LANE, y_range: new bokeh.Range1d({ start: 0, end: 2 }) });
    for (const each of [...figure.below, ...figure.left]) each.visible = false;
    for (const grid of figure.center) grid.visible = false;
    const bar = ({ from, to }, place, fill) => figure.quad([from], [to], [place + 1], [place], { left: { value: from }, right: { value: to }, top: { value: place + 1 }, bottom: { value: place }, fill_color: fill, line_color: inks.line });
    heat.phases.forEach((phase, i) => bar(phase, 0, i % 2 ? inks.raised : inks.paper));
    heat.passes.forEach((pass) => bar(pass, 1, inks.arc));
    this.words = new bokeh.ColumnDataSource({ data: { x: [], y: [], text: [] } });
    figure.text({ field: "x" }, { field: "y" }, { field: "text" }, { source: this.words, text_color: inks.ink, text_font: inks.font, text_font_size: "12px", text_font_style: "bold", text_align: "center", text_baseline: "middle" });
    const dots = (at, marker) => {
      const source = new bokeh.ColumnDataSource({ data: { x: at, y: at.map(() => 1.5) } });
      figure.scatter({ field: "x" }, { field: "y" }, { source, marker, size: 12, fill_color: inks.ink, line_color: inks.paper });
    };
    dots(heat.alarms, "triangle");
    dots(heat.notes, "diamond");
    return figure;
  }

  /** Words stand in the lane where there is room for them. */
  #fitLane() {
    const { start, end } = this.range;
    const wide = this.#view?.el?.clientWidth || 600;
    const px = (wide - LEFT - RIGHT) / (end - start);
    const data = { x: [], y: [], text: [] };
    const say = (each, y) => {
      const [left, right] = [Math.max(each.from, start), Math.min(each.to, end)];
      if ((right - left) * px < each.text.length * LETTER_PX) return;
      data.x.push((left + right) / 2);
      data.y.push(y);
      data.text.push(each.text);
    };
    for (const phase of this.heat.phases) say(phase, 0.5);
    for (const pass of this.heat.passes) say(pass, 1.5);
    this.words.data = data;
  }

  #limits() {
    const { bokeh, heat, inks } = this;
    const draw = (name, each, value, words, dash) => {
      const figure = this.#figures.get(name);
      if (!figure || value === null) return;
      const source = new bokeh.ColumnDataSource({ data: { x: [each.from, each.to], y: [value, value] } });
      figure.line({ field: "x" }, { field: "y" }, { source, line_color: inks.limit, line_width: 2.5, line_dash: dash });
      if (each.to < heat.to) return;
      figure.add_layout(new bokeh.Label({ x: LABEL_AT, y: value, x_units: "screen", text: words, text_color: inks.ink, text_font: inks.font, text_font_size: "12px", text_baseline: "bottom", y_offset: 2 }));
    };
    for (const each of heat.limits) {
      draw("temperature", each, each.high, heat.words.interpass, [12, 5]);
      draw("temperature", each, each.low, heat.words.preheat, []);
      draw("oxygen", each, each.ppm, heat.words.oxygen, [12, 5]);
    }
  }

  #line({ panel }) {
    const { bokeh, inks } = this;
    const place = this.#sources.length;
    const nth = this.heat.lines.slice(0, place).filter((each) => each.panel === panel).length;
    const source = new bokeh.ColumnDataSource({ data: { x: [], y: [] } });
    const letters = new bokeh.ColumnDataSource({ data: { x: [], y: [], text: [] } });
    const colour = [inks.ink, inks.flow, inks.arc, inks.soft][nth % 4];
    const figure = this.#figures.get(panel);
    figure.line({ field: "x" }, { field: "y" }, { source, line_color: colour, line_width: 2, line_dash: DASHES[nth % DASHES.length] });
    figure.text({ field: "x" }, { field: "y" }, { field: "text" }, { source: letters, text_color: inks.ink, text_font: inks.font, text_font_size: "13px", text_font_style: "bold", text_align: "center", text_baseline: "middle", background_fill_color: inks.paper, padding: 2 });
    this.#sources.push(source);
    this.#letters.push(letters);
  }

  #both(figure) {
    const span = new this.bokeh.Span({ location: 0, dimension: "height", line_color: this.inks.duty, line_width: 3, line_dash: [6, 4], visible: false, level: "overlay" });
    figure.add_layout(span);
    this.#marks.push(span);
  }

  #heights(name) {
    const seen = [];
    this.heat.lines.forEach((line, i) => line.panel === name && seen.push(this.#sources[i].data.y));
    const values = seen.flatMap((each) => [...each]).filter(Number.isFinite);
    if (name === "temperature") values.push(...this.heat.limits.flatMap(({ low, high }) => [low, high]).filter((each) => each !== null));
    if (name === "oxygen") values.push(...this.heat.limits.map(({ ppm }) => ppm).filter((each) => each !== null));
    const low = values.reduce((a, b) => Math.min(a, b), Infinity);
    const high = values.reduce((a, b) => Math.max(a, b), -Infinity);
    if (low > high) return { start: 1, end: 10 };
    if (name === "oxygen") return { start: Math.max(LEAST_PPM / 2, low / 2), end: high * 2 };
    const pad = Math.max((high - low) * 0.08, name === "flow" ? 1 : 5);
    return { start: name === "flow" ? Math.min(0, low) : low - pad, end: high + pad };
  }
}

function lettersOf({ x, y }, letter) {
  const data = { x: [], y: [], text: [] };
  const drawn = [];
  y.forEach((value, i) => Number.isFinite(value) && drawn.push(i));
  for (const share of drawn.length ? LETTERED : []) {
    const i = drawn[Math.floor(share * (drawn.length - 1))];
    data.x.push(x[i]);
    data.y.push(y[i]);
    data.text.push(letter);
  }
  return data;
}
