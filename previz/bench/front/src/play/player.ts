/**
 * Plays a packed shot in WebGL 2: the engine's light, added up along each pixel's ray anew in every frame, so that the move
 * runs, and exposure, haze and lamps can be mixed, without asking the engine.
 */
import { LOOKS, lookOf, STRAIGHT, type Look } from "./looks";
import { fromHalf, unpack, type Header, type Pack, type Packed, type Shaft } from "./pack";
import { develop, haze, surfaces, type Kinds } from "./shaders";

const STEPS = 96;
const STEPS_OF_A_LOOK = 24;
/** Fewer looks than these are a worse picture than one with its blur drawn. */
const LEAST_LOOKS = 12;
const SLOW_MS = 70;
const LEAST_SHARE = 1 / 8;
const NEAR_MM = 0.5;
const FAR_MM = 20000;
const NOTHING_MM = 60000;
const FRAME = { eye: 0, forward: 3, right: 6, up: 9, half: 12, pupil: 14, focus: 15, exposure: 16, length: 17 };

interface Moment {
  shafts: WebGLTexture;
  places: WebGLTexture;
  grids: Shaft[];
  layers: number;
  toLamps: WebGLTexture[];
  glow: Uint16Array;
  centres: number[][];
}

export class Player {
  readonly header: Header;
  /** Stops of exposure on top of the camera's settings. */
  exposureStops = 0;
  /** Times the haze of the file. */
  haze = 1;
  /** Level of each lamp, in the order of header.lamps. */
  levels: number[];

  private full: [number, number] = [480, 270];
  private share = 1;
  private slowFrames = 0;
  private lastRun = 0;
  private readonly gl: WebGL2RenderingContext;
  private readonly kinds: Kinds;
  private readonly programs: { surfaces: Program; haze: Program; develop: Program };
  private readonly corners: WebGLVertexArrayObject;
  private readonly count: number;
  private readonly charts: WebGLTexture;
  private readonly bounce: WebGLTexture;
  private readonly direct: WebGLTexture;
  private readonly phase: WebGLTexture;
  private readonly planes: WebGLTexture;
  private readonly glow: WebGLTexture;
  private readonly moments: Moment[];
  private readonly swirls: WebGLTexture[];
  private readonly frames: Float32Array;
  private targets: { width: number; height: number; surfaces: Target; haze: Target; before: Target } | null = null;
  private resting = 0;

  /** Throws with words for the maker where the device cannot play. */
  constructor(readonly canvas: HTMLCanvasElement, buffer: ArrayBuffer) {
    const gl = canvas.getContext("webgl2", { antialias: false, alpha: false, preserveDrawingBuffer: true });
    if (!gl || !gl.getExtension("EXT_color_buffer_float")) throw new Error("This device cannot play the move in the page; make a reel instead.");
    this.gl = gl;
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    const pack = unpack(buffer);
    const h = (this.header = pack.header);
    this.levels = h.lamps.map(() => 1);
    const [groups, channels] = [pack.array("to_lamps0").shape[0]!, pack.array("to_lamps0").shape[4]!];
    this.kinds = { swirls: h.swirls !== null, sources: h.sources.length, channels, groups, lamps: h.lamps.length, cells: h.cells_first.length - 1, moments: h.moments_s.length };
    this.programs = { surfaces: new Program(gl, surfaces(this.kinds)), haze: new Program(gl, haze(this.kinds)), develop: new Program(gl, develop(this.kinds)) };
    this.frames = pack.array("frames").data as Float32Array;
    this.count = pack.array("position").shape[0]!;
    this.corners = this.cornersOf(pack);
    this.charts = this.chartsOf(pack);
    this.bounce = this.layers(pack, "bounce", h.chart_rows[0]);
    this.direct = this.layers(pack, "direct", h.chart_rows[1]);
    this.phase = flat(gl, pack.array("phase").data as Float32Array, 1, 4096);
    this.planes = flat(gl, pack.array("planes").data as Float32Array, 4, 1024);
    this.glow = texture(gl, gl.TEXTURE_3D, gl.LINEAR);
    this.moments = h.lights.map((light, i) => {
      const { data, shape } = pack.array(`shafts${i}`);
      const made = texture(gl, gl.TEXTURE_3D, gl.LINEAR);
      gl.texImage3D(gl.TEXTURE_3D, 0, gl.R8, shape[2]!, shape[1]!, shape[0]!, 0, gl.RED, gl.UNSIGNED_BYTE, data);
      return { shafts: made, places: placesOf(gl, pack.array(`tiles${i}`)), grids: light.shafts, layers: shape[0]!, toLamps: boxes(gl, pack.array(`to_lamps${i}`)), glow: pack.array(`glow${i}`).data as Uint16Array, centres: light.centres };
    });
    this.swirls = h.swirls ? boxes(gl, pack.array("swirls")) : [];
  }

  /** Takes the size of the whole picture, in pixels of the screen. */
  resize(width: number, height: number): void {
    this.full = [width, height];
  }

  /** Draws a frame of the move as it runs: in fewer pixels where the device would not keep up otherwise. */
  run(takeS: number): void {
    this.stir();
    const now = performance.now();
    const took = this.lastRun ? now - this.lastRun : 0;
    this.lastRun = now;
    this.slowFrames = took > SLOW_MS ? this.slowFrames + 1 : 0;
    // One late frame may be the page's own work; a very late one is not.
    if (this.slowFrames > 1 || took > 4 * SLOW_MS) {
      this.share = Math.max(LEAST_SHARE, this.share * Math.sqrt(SLOW_MS / took));
      this.slowFrames = 0;
    }
    this.drawn(takeS, this.share);
  }

  /** Draws the frame at a moment of the take into the canvas, in every pixel; while nothing else is asked for it is looked at again and again, and gets better. */
  draw(takeS: number): void {
    this.stir();
    this.lastRun = 0;
    this.drawn(takeS, 1);
    this.rest(takeS, 0, null);
  }

  private drawn(takeS: number, share: number): void {
    const [width, height] = this.full.map((pixels) => Math.max(1, Math.round(pixels * share))) as [number, number];
    if (this.canvas.width !== width || this.canvas.height !== height) Object.assign(this.canvas, { width, height });
    this.light(takeS, width, height, STRAIGHT, 0, STEPS);
    this.shown(takeS, true);
  }

  /** What is to be seen next is not the frame that was at rest. */
  private stir(): void {
    cancelAnimationFrame(this.resting);
    delete this.canvas.dataset.atRest;
  }

  /** Looks at the frame once more each time that the device is done with the last look. */
  private rest(takeS: number, looks: number, begun: WebGLSync | null): void {
    const { gl } = this;
    this.resting = requestAnimationFrame(() => {
      if (gl.isContextLost()) return;
      if (begun && gl.clientWaitSync(begun, 0, 0) === gl.TIMEOUT_EXPIRED) return this.rest(takeS, looks, begun);
      gl.deleteSync(begun);
      this.looked(takeS, this.canvas.width, this.canvas.height, looks);
      if (looks + 1 >= LEAST_LOOKS) this.shown(takeS, false);
      if (looks + 1 === LOOKS) this.canvas.dataset.atRest = "1";
      else this.rest(takeS, looks + 1, gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0));
    });
  }

  /** Adds one look to the average of those before it. */
  private looked(takeS: number, width: number, height: number, number: number): void {
    const look = lookOf(number);
    const when = takeS + look.moment * this.header.exposure_s;
    this.light(Math.min(this.header.take_s, Math.max(0, when)), width, height, look, number, STEPS_OF_A_LOOK);
  }

  private shown(takeS: number, blurred: boolean): void {
    this.gl.bindFramebuffer(this.gl.FRAMEBUFFER, null);
    this.finish(takeS, false, blurred);
  }

  /** The light of a frame before exposure, (height, width, 4), the top row first; cd/m2. At rest it is the average of all looks. */
  linear(takeS: number, width: number, height: number, rest: boolean): Float32Array {
    const gl = this.gl;
    this.stir();
    if (rest) for (let look = 0; look < LOOKS; look++) this.looked(takeS, width, height, look);
    else this.light(takeS, width, height, STRAIGHT, 0, STEPS);
    const target = new Target(gl, width, height, false);
    gl.bindFramebuffer(gl.FRAMEBUFFER, target.frame);
    this.finish(takeS, true, !rest);
    const rows = new Float32Array(4 * width * height);
    gl.readPixels(0, 0, width, height, gl.RGBA, gl.FLOAT, rows);
    target.dispose(gl);
    const out = new Float32Array(rows.length);
    for (let row = 0; row < height; row++) out.set(rows.subarray(4 * width * row, 4 * width * (row + 1)), 4 * width * (height - 1 - row));
    return out;
  }

  dispose(): void {
    this.stir();
    this.gl.getExtension("WEBGL_lose_context")?.loseContext();
  }

  /** Works out the light of one look, and its average with the `before` looks before it. */
  private light(takeS: number, width: number, height: number, look: Look, before: number, steps: number): void {
    const { gl, header: h, kinds } = this;
    if (this.targets?.width !== width || this.targets.height !== height) {
      this.targets?.surfaces.dispose(gl);
      this.targets?.haze.dispose(gl);
      this.targets?.before.dispose(gl);
      this.targets = { width, height, surfaces: new Target(gl, width, height, true), haze: new Target(gl, width, height, false), before: new Target(gl, width, height, false) };
    }
    const { targets } = this;
    [targets.haze, targets.before] = [targets.before, targets.haze];
    const frame = this.frame(takeS);
    const { now, next, blend } = between(h.moments_s, takeS);
    const a = this.moments[now]!;
    const b = this.moments[next]!;
    const sources = h.sources.flatMap((s) => s.rgb.map((x) => x * this.levels[s.lamp]!));
    const centres = a.centres.flatMap((centre, s) => centre.map((x, i) => x + blend * (b.centres[s]![i]! - x)));
    const grid = { low: h.haze.low, size: h.haze.shape.map((n, i) => n * h.haze.step[i]!) };
    const half = this.half(frame, width, height);
    const pupil = look.pupil.map((x) => x * frame[FRAME.pupil]!) as [number, number];
    const eye = [0, 1, 2].map((i) => frame[FRAME.eye + i]! + pupil[0] * frame[FRAME.right + i]! + pupil[1] * frame[FRAME.up + i]!);
    const pixel = [(2 * half[0]!) / width, (2 * half[1]!) / height];
    const lens = (p: Program) => {
      p.set3("uEye", eye);
      // What is in focus stays where it is, seen from anywhere in the pupil.
      p.set2("uShift", look.pixel.map((x, i) => x * pixel[i]! - pupil[i]! / frame[FRAME.focus]!));
      p.set3("uForward", frame.slice(FRAME.forward, FRAME.forward + 3));
      p.set3("uRight", frame.slice(FRAME.right, FRAME.right + 3));
      p.set3("uUp", frame.slice(FRAME.up, FRAME.up + 3));
      p.set2("uHalf", half);
      p.set3("uGridLow", grid.low);
      p.set3("uGridSize", grid.size);
      p.set1("uExtinction", h.haze.extinction_per_mm * this.haze);
      p.set3("uSource", sources.length ? sources : [0, 0, 0]);
      p.boxes("uToLamps", a.toLamps);
      p.set1("uBlend", blend);
      if (h.swirls) {
        const drift = between(h.swirls.moments_s, takeS);
        p.set3("uSwirlLow", h.swirls.low);
        p.set3("uSwirlSize", h.swirls.size);
        p.set1("uSwirlBlend", drift.blend);
        p.texture("uSwirls", gl.TEXTURE_3D, this.swirls[drift.now]!);
        p.texture("uSwirlsNext", gl.TEXTURE_3D, this.swirls[drift.next]!);
      }
    };

    gl.bindFramebuffer(gl.FRAMEBUFFER, targets.surfaces.frame);
    gl.viewport(0, 0, width, height);
    gl.enable(gl.DEPTH_TEST);
    gl.disable(gl.CULL_FACE);
    gl.clearColor(0, 0, 0, NOTHING_MM);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const s = this.programs.surfaces.use();
    lens(s);
    s.set2("uNearFar", [NEAR_MM, FAR_MM]);
    s.set2("uRows", h.chart_rows);
    s.whole("uChartCount", h.charts);
    s.whole("uMoment", now);
    s.whole("uNext", next);
    s.set1("uLevel", this.levels.length ? this.levels : [0]);
    s.texture("uCharts", gl.TEXTURE_2D, this.charts);
    s.texture("uBounce", gl.TEXTURE_2D_ARRAY, this.bounce);
    s.texture("uDirect", gl.TEXTURE_2D_ARRAY, this.direct);
    gl.bindVertexArray(this.corners);
    gl.drawArrays(gl.TRIANGLES, 0, this.count);
    gl.bindVertexArray(null);

    gl.bindFramebuffer(gl.FRAMEBUFFER, targets.haze.frame);
    gl.disable(gl.DEPTH_TEST);
    this.mixGlow(takeS, now, next, blend);
    const p = this.programs.haze.use();
    lens(p);
    p.set1("uLayers", a.layers);
    p.set1("uTile", h.tile);
    const grids = (of: string, moment: Moment) => {
      p.texture(`uShafts${of}`, gl.TEXTURE_3D, moment.shafts);
      p.texture(`uPlaces${of}`, gl.TEXTURE_2D_ARRAY, moment.places);
      if (!moment.grids.length) return;
      p.set1(`uSeen${of}`, moment.grids.map((g) => (g.seen ? 1 : 0)));
      p.set1(`uScale${of}`, moment.grids.map((g) => g.scale));
      p.set3(`uFrom${of}`, moment.grids.flatMap((g) => g.centre));
      p.set3(`uLow${of}`, moment.grids.flatMap((g) => g.low));
      p.set3(`uSize${of}`, moment.grids.flatMap((g) => g.size));
      p.set2(`uTiles${of}`, moment.grids.flatMap((g) => g.tiles));
      p.set2(`uSlab${of}`, moment.grids.flatMap((g) => [g.first, g.layers]));
      p.matrix(`uAxes${of}`, moment.grids.flatMap((g) => g.axes));
    };
    grids("", a);
    if (kinds.moments > 1) grids("Next", b);
    p.set3("uCentre", centres.length ? centres : [0, 0, 0]);
    p.set1("uScattering", h.haze.scattering_per_mm * this.haze);
    p.set1("uAlbedo", h.haze.albedo);
    p.whole("uFirst", kinds.cells ? h.cells_first : [0, 0]);
    p.whole("uSteps", steps);
    p.set1("uStart", look.start);
    p.set1("uShare", 1 / (before + 1));
    p.texture("uBefore", gl.TEXTURE_2D, targets.before.colour);
    p.whole("uCos4", h.cos4 ? 1 : 0);
    p.texture("uSurfaces", gl.TEXTURE_2D, targets.surfaces.colour);
    p.texture("uPhase", gl.TEXTURE_2D, this.phase);
    p.texture("uPlanes", gl.TEXTURE_2D, this.planes);
    p.texture("uGlow", gl.TEXTURE_3D, this.glow);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  private finish(takeS: number, linear: boolean, blurred: boolean): void {
    const { gl, header: h, targets } = this;
    const frame = this.frame(takeS);
    gl.viewport(0, 0, targets!.width, targets!.height);
    const p = this.programs.develop.use();
    p.texture("uLight", gl.TEXTURE_2D, targets!.haze.colour);
    p.set1("uPupil", blurred ? frame[FRAME.pupil]! : 0);
    p.set1("uFocus", frame[FRAME.focus]!);
    p.set1("uPixelsATangent", targets!.width / 2 / this.half(frame, targets!.width, targets!.height)[0]!);
    p.set1("uExposure", frame[FRAME.exposure]! * 2 ** this.exposureStops);
    p.set1("uKnee", h.tone.knee);
    p.set1("uWhiteExcess", (h.tone.middle * 2 ** h.tone.white_stops - h.tone.knee) / (1 - h.tone.knee));
    p.matrix("uWhite", h.white);
    p.whole("uLinear", linear ? 1 : 0);
    gl.drawArrays(gl.TRIANGLES, 0, 3);
  }

  /** The full width of the sensor is used, so the height of the view follows from the picture's shape. */
  private half(frame: Float32Array, width: number, height: number): number[] {
    return [frame[FRAME.half]!, (frame[FRAME.half]! * height) / width];
  }

  /** What the lens does at a moment: between two frames, in a straight line. */
  private frame(takeS: number): Float32Array {
    const last = this.frames.length / FRAME.length - 1;
    const at = Math.min(last, Math.max(0, this.header.take_s ? (takeS / this.header.take_s) * last : 0));
    const i = Math.min(last - 1, Math.floor(at));
    const a = this.frames.subarray(FRAME.length * i, FRAME.length * (i + 1));
    const b = this.frames.subarray(FRAME.length * (i + 1), FRAME.length * (i + 2));
    return a.map((x, k) => x + (at - i) * (b[k]! - x));
  }

  /** The haze's own light as it is sent towards where the lens is now: few cells, so it is mixed here. */
  private mixGlow(takeS: number, now: number, next: number, blend: number): void {
    const { gl, header: h } = this;
    const [nx, ny, nz] = h.haze.shape as [number, number, number];
    const cells = nx * ny * nz * 3;
    const at = h.take_s ? (takeS / h.take_s) * (h.lens_places - 1) : 0;
    const place = Math.max(0, Math.min(h.lens_places - 1, Math.floor(at)));
    const beyond = Math.min(h.lens_places - 1, place + 1);
    const sum = new Float32Array(cells);
    for (const [moment, part] of [[now, 1 - blend], [next, blend]] as const) {
      if (part <= 0) continue;
      const glow = this.moments[moment]!.glow;
      h.lamps.forEach((_, lamp) => {
        for (const [k, share] of [[place, 1 - (at - place)], [beyond, at - place]] as const) {
          const factor = part * share * this.levels[lamp]!;
          if (factor <= 0) continue;
          const first = (lamp * h.lens_places + k) * cells;
          for (let i = 0; i < cells; i++) sum[i]! += factor * HALVES[glow[first + i]!]!;
        }
      });
    }
    gl.bindTexture(gl.TEXTURE_3D, this.glow);
    gl.texImage3D(gl.TEXTURE_3D, 0, gl.RGB16F, nx, ny, nz, 0, gl.RGB, gl.FLOAT, sum);
  }

  private cornersOf(pack: Pack): WebGLVertexArrayObject {
    const gl = this.gl;
    const corners = gl.createVertexArray()!;
    gl.bindVertexArray(corners);
    for (const [name, size] of [["position", 3], ["place", 2], ["chart", 1]] as const) {
      const at = gl.getAttribLocation(this.programs.surfaces.program, name);
      gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
      gl.bufferData(gl.ARRAY_BUFFER, pack.array(name).data, gl.STATIC_DRAW);
      gl.enableVertexAttribArray(at);
      gl.vertexAttribPointer(at, size, gl.FLOAT, false, 0, 0);
    }
    gl.bindVertexArray(null);
    return corners;
  }

  /** What is known of each chart, property after property: where its light lies, coarse and fine; its colour; its own glow by moment and lamp. */
  private chartsOf(pack: Pack): WebGLTexture {
    const { gl, header: h } = this;
    const properties: number[] = [];
    const push = (values: ArrayLike<number>, width: number) => {
      for (let i = 0; i < h.charts; i++) for (let c = 0; c < 4; c++) properties.push(c < width ? values[width * i + c]! : 0);
    };
    push(pack.array("coarse").data as Float32Array, 4);
    push(pack.array("fine").data as Float32Array, 4);
    push(pack.array("reflectance").data as Float32Array, 3);
    h.moments_s.forEach((_, moment) => {
      const shown = pack.array(`shown${moment}`).data as Float32Array;
      h.lamps.forEach((__, lamp) => push(shown.subarray(3 * h.charts * lamp, 3 * h.charts * (lamp + 1)), 3));
    });
    return flat(gl, new Float32Array(properties), 4, 1024);
  }

  private layers(pack: Pack, name: string, rows: number): WebGLTexture {
    const { gl, header: h } = this;
    const all = h.moments_s.map((_, moment) => pack.array(`${name}${moment}`));
    const channels = all[0]!.shape[3]!;
    const each = Math.max(1, all[0]!.shape[0]!);
    const made = texture(gl, gl.TEXTURE_2D_ARRAY, gl.LINEAR);
    gl.texStorage3D(gl.TEXTURE_2D_ARRAY, 1, half(gl, channels), h.chart_width, rows, each * all.length);
    all.forEach(({ data, shape }, moment) => {
      if (shape[0]) gl.texSubImage3D(gl.TEXTURE_2D_ARRAY, 0, 0, 0, each * moment, h.chart_width, rows, each, order(gl, channels), gl.HALF_FLOAT, data);
    });
    return made;
  }
}

/** The two moments that a time lies between, and how far it is from the first to the second, 0 to 1. */
function between(moments: number[], takeS: number): { now: number; next: number; blend: number } {
  if (moments.length < 2) return { now: 0, next: 0, blend: 0 };
  let now = 0;
  while (now < moments.length - 2 && moments[now + 1]! <= takeS) now++;
  return { now, next: now + 1, blend: Math.min(1, Math.max(0, (takeS - moments[now]!) / (moments[now + 1]! - moments[now]!))) };
}

/** Every half float as a number. */
const HALVES = Float32Array.from({ length: 65536 }, (_, bits) => fromHalf(bits));

class Program {
  readonly program: WebGLProgram;
  private units = 0;

  constructor(private readonly gl: WebGL2RenderingContext, source: { vertex: string; fragment: string }) {
    this.program = gl.createProgram()!;
    for (const [kind, text] of [[gl.VERTEX_SHADER, source.vertex], [gl.FRAGMENT_SHADER, source.fragment]] as const) {
      const shader = gl.createShader(kind)!;
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      gl.attachShader(this.program, shader);
      gl.deleteShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS) && !gl.isContextLost()) throw new Error(`a shader does not compile: ${gl.getShaderInfoLog(shader)}`);
    }
    gl.linkProgram(this.program);
    if (!gl.getProgramParameter(this.program, gl.LINK_STATUS) && !gl.isContextLost()) throw new Error(`a shader does not link: ${gl.getProgramInfoLog(this.program)}`);
  }

  use(): this {
    this.gl.useProgram(this.program);
    this.units = 0;
    return this;
  }

  private at(name: string): WebGLUniformLocation | null {
    return this.gl.getUniformLocation(this.program, name);
  }

  set1(name: string, value: number | number[]): void {
    this.gl.uniform1fv(this.at(name), typeof value === "number" ? [value] : value);
  }

  set2(name: string, value: ArrayLike<number>): void {
    this.gl.uniform2fv(this.at(name), Array.from(value));
  }

  set3(name: string, value: ArrayLike<number>): void {
    this.gl.uniform3fv(this.at(name), Array.from(value));
  }

  /** Nine numbers, row by row. */
  matrix(name: string, value: number[]): void {
    this.gl.uniformMatrix3fv(this.at(name), true, value);
  }

  whole(name: string, value: number | number[]): void {
    this.gl.uniform1iv(this.at(name), typeof value === "number" ? [value] : value);
  }

  texture(name: string, target: number, value: WebGLTexture): void {
    this.gl.activeTexture(this.gl.TEXTURE0 + this.units);
    this.gl.bindTexture(target, value);
    this.gl.uniform1i(this.at(name), this.units++);
  }

  boxes(name: string, values: WebGLTexture[]): void {
    const units = values.map((value) => {
      this.gl.activeTexture(this.gl.TEXTURE0 + this.units);
      this.gl.bindTexture(this.gl.TEXTURE_3D, value);
      return this.units++;
    });
    this.gl.uniform1iv(this.at(name), units);
  }
}

class Target {
  readonly frame: WebGLFramebuffer;
  readonly colour: WebGLTexture;
  private readonly depth: WebGLRenderbuffer | null = null;

  constructor(gl: WebGL2RenderingContext, width: number, height: number, depth: boolean) {
    this.colour = texture(gl, gl.TEXTURE_2D, gl.NEAREST);
    gl.texStorage2D(gl.TEXTURE_2D, 1, gl.RGBA32F, width, height);
    this.frame = gl.createFramebuffer()!;
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.frame);
    gl.framebufferTexture2D(gl.FRAMEBUFFER, gl.COLOR_ATTACHMENT0, gl.TEXTURE_2D, this.colour, 0);
    if (depth) {
      this.depth = gl.createRenderbuffer();
      gl.bindRenderbuffer(gl.RENDERBUFFER, this.depth);
      gl.renderbufferStorage(gl.RENDERBUFFER, gl.DEPTH_COMPONENT24, width, height);
      gl.framebufferRenderbuffer(gl.FRAMEBUFFER, gl.DEPTH_ATTACHMENT, gl.RENDERBUFFER, this.depth);
    }
  }

  dispose(gl: WebGL2RenderingContext): void {
    gl.deleteFramebuffer(this.frame);
    gl.deleteTexture(this.colour);
    if (this.depth) gl.deleteRenderbuffer(this.depth);
  }
}

function texture(gl: WebGL2RenderingContext, target: number, filter: number): WebGLTexture {
  const made = gl.createTexture()!;
  gl.bindTexture(target, made);
  gl.texParameteri(target, gl.TEXTURE_MIN_FILTER, filter);
  gl.texParameteri(target, gl.TEXTURE_MAG_FILTER, filter);
  for (const side of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T, gl.TEXTURE_WRAP_R]) gl.texParameteri(target, side, gl.CLAMP_TO_EDGE);
  return made;
}

/** (sources, rows, columns, 2) of whole numbers, where each tile of a grid is kept. */
function placesOf(gl: WebGL2RenderingContext, { data, shape }: Packed): WebGLTexture {
  const made = texture(gl, gl.TEXTURE_2D_ARRAY, gl.NEAREST);
  gl.texImage3D(gl.TEXTURE_2D_ARRAY, 0, gl.RG8UI, shape[2]!, shape[1]!, shape[0]!, 0, gl.RG_INTEGER, gl.UNSIGNED_BYTE, data);
  return made;
}

/** A list of numbers as a texture of rows, read by number. */
function flat(gl: WebGL2RenderingContext, values: Float32Array, channels: 1 | 4, width: number): WebGLTexture {
  const rows = Math.max(1, Math.ceil(values.length / channels / width));
  const whole = new Float32Array(rows * width * channels);
  whole.set(values);
  const made = texture(gl, gl.TEXTURE_2D, gl.NEAREST);
  gl.texImage2D(gl.TEXTURE_2D, 0, channels === 1 ? gl.R32F : gl.RGBA32F, width, rows, 0, channels === 1 ? gl.RED : gl.RGBA, gl.FLOAT, whole);
  return made;
}

/** (groups, z, y, x, channels) of half floats, a texture a group. */
function boxes(gl: WebGL2RenderingContext, { data, shape }: { data: ArrayBufferView & { subarray(a: number, b: number): ArrayBufferView }; shape: number[] }): WebGLTexture[] {
  const [groups, nz, ny, nx, channels] = shape as [number, number, number, number, number];
  const each = nz * ny * nx * channels;
  return Array.from({ length: groups }, (_, g) => {
    const made = texture(gl, gl.TEXTURE_3D, gl.LINEAR);
    gl.texImage3D(gl.TEXTURE_3D, 0, half(gl, channels), nx, ny, nz, 0, order(gl, channels), gl.HALF_FLOAT, data.subarray(g * each, (g + 1) * each));
    return made;
  });
}

function half(gl: WebGL2RenderingContext, channels: number): number {
  return channels === 1 ? gl.R16F : channels === 2 ? gl.RG16F : channels === 3 ? gl.RGB16F : gl.RGBA16F;
}

function order(gl: WebGL2RenderingContext, channels: number): number {
  return channels === 1 ? gl.RED : channels === 2 ? gl.RG : channels === 3 ? gl.RGB : gl.RGBA;
}
