// The set as a lit model to walk round, with lamps to take hold of, the lens on its way and the shafts as the light falls now.

import {
  BufferAttribute, BufferGeometry, Color, DataTexture, DoubleSide, GLSL3, Group, HalfFloatType, LinearFilter, Line, LineBasicMaterial, LineLoop, LineSegments, Mesh, MeshBasicMaterial,
  PerspectiveCamera, RawShaderMaterial, Raycaster, RGBAFormat, Scene, SphereGeometry, Vector2, Vector3, WebGLRenderer, type Object3D,
} from "three";
import { OrbitControls } from "three/addons/controls/OrbitControls.js";
import { TransformControls } from "three/addons/controls/TransformControls.js";
import type { Bench } from "../bench";
import { Ends } from "../dom";
import type { Point } from "../protocol";
import { unpackArrays } from "./pack";

interface Header {
  schema: number;
  bounds: [Point, Point];
  width: number;
  rows: [number, number];
  exposure: number;
  tone: { knee: number; white_excess: number };
}

const VERTEX = `
precision highp float;
in vec3 position, colour, shown, outward;
in vec2 coarse_at, fine_at;
uniform mat4 projectionMatrix, modelViewMatrix;
uniform vec3 cameraPosition;
out vec3 vColour, vShown;
out vec2 vCoarse, vFine;
out float vBefore;
void main() {
  vColour = colour;
  vShown = shown;
  vCoarse = coarse_at;
  vFine = fine_at;
  vBefore = dot(cameraPosition - position, outward);
  gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.0);
}`;
const FRAGMENT = `
precision highp float;
in vec3 vColour, vShown;
in vec2 vCoarse, vFine;
in float vBefore;
uniform sampler2D bounce, direct;
uniform float exposure, knee, whiteExcess;
out vec4 picture;
void main() {
  // A wall that stands between the eye and the room is left off.
  if (vBefore > 0.0) discard;
  // A little light of the workroom, so that what the lamps do not reach is no hole.
  vec3 value = 0.05 * vColour + exposure * (vShown + vColour / 3.14159265 * (texture(bounce, vCoarse).rgb + texture(direct, vFine).rgb));
  vec3 excess = clamp((value - knee) / (1.0 - knee), 0.0, whiteExcess);
  value = clamp(value, 0.0, knee) + (1.0 - knee) * excess * (1.0 + excess / (whiteExcess * whiteExcess)) / (1.0 + excess);
  picture = vec4(mix(1.055 * pow(value, vec3(1.0 / 2.4)) - 0.055, 12.92 * value, lessThanEqual(value, vec3(0.0031308))), 1.0);
}`;

const TURN = Math.PI / 36;

/** Paper left free round the set. */
const ROUND = 1.06;

export class Round {
  private readonly renderer: WebGLRenderer;
  private readonly scene = new Scene();
  private readonly camera = new PerspectiveCamera(35, 1, 5, 100000);
  private readonly orbit: OrbitControls;
  private readonly hold: TransformControls;
  private readonly model = new Group();
  private readonly marks = new Group();
  private readonly beams = new Group();
  private readonly lens = new Group();
  private readonly lamps = new Map<string, Mesh>();
  private readonly ends = new Ends();
  private bounds: [Point, Point] | null = null;
  private asked = 0;
  private holding = false;

  constructor(private readonly canvas: HTMLCanvasElement, private readonly bench: Bench) {
    this.renderer = new WebGLRenderer({ canvas, antialias: true, alpha: true });
    this.renderer.setPixelRatio(Math.min(2, devicePixelRatio));
    this.camera.up.set(0, 0, 1);
    this.orbit = new OrbitControls(this.camera, canvas);
    this.orbit.enableDamping = false;
    this.orbit.addEventListener("change", this.draw);
    this.hold = new TransformControls(this.camera, canvas);
    this.hold.setSize(0.7);
    this.hold.addEventListener("change", this.draw);
    this.hold.addEventListener("dragging-changed", (event) => (this.orbit.enabled = !event.value));
    this.hold.addEventListener("mouseDown", () => (this.holding = true));
    this.hold.addEventListener("objectChange", () => this.carry(false));
    this.hold.addEventListener("mouseUp", () => this.carry(true));
    this.scene.add(this.model, this.beams, this.marks, this.lens, this.hold.getHelper());
    canvas.addEventListener("keydown", this.key);
    canvas.addEventListener("pointerdown", this.down);
    canvas.addEventListener("pointerup", this.up);
    const dark = matchMedia("(prefers-color-scheme: dark)");
    dark.addEventListener("change", this.paint);
    this.ends.add(
      () => dark.removeEventListener("change", this.paint),
      bench.theme.on(this.paint), bench.drawing.on(this.paint), bench.light.on(this.cast), bench.chosen.on(this.choose), bench.shot.on(this.place), bench.takeS.on(this.place),
    );
  }

  /** Take the lit set from its bytes. */
  show(buffer: ArrayBuffer): void {
    const { header, array } = unpackArrays<Header>(buffer);
    const first = this.bounds === null;
    this.bounds = header.bounds;
    const geometry = new BufferGeometry();
    for (const [name, size] of [["position", 3], ["colour", 3], ["shown", 3], ["outward", 3], ["coarse_at", 2], ["fine_at", 2]] as const) {
      geometry.setAttribute(name, new BufferAttribute(array(name).data as Float32Array, size));
    }
    const picture = (name: string, rows: number): DataTexture => {
      const made = new DataTexture(array(name).data as Uint16Array<ArrayBuffer>, header.width, rows, RGBAFormat, HalfFloatType);
      made.minFilter = made.magFilter = LinearFilter;
      made.needsUpdate = true;
      return made;
    };
    const uniforms = {
      bounce: { value: picture("bounce", header.rows[0]) },
      direct: { value: picture("direct", header.rows[1]) },
      exposure: { value: header.exposure },
      knee: { value: header.tone.knee },
      whiteExcess: { value: header.tone.white_excess },
    };
    const material = new RawShaderMaterial({ vertexShader: VERTEX, fragmentShader: FRAGMENT, uniforms, glslVersion: GLSL3, side: DoubleSide });
    cleared(this.model);
    this.model.add(new Mesh(geometry, material));
    if (first) this.from("front");
    this.draw();
  }

  /** Go to where the set is seen from one side. */
  from(side: string): void {
    if (!this.bounds) return;
    const [low, high] = this.bounds.map((point) => new Vector3(...point)) as [Vector3, Vector3];
    const middle = low.clone().add(high).multiplyScalar(0.5);
    const ways: Record<string, [number, number, number]> = { front: this.openSide(), left: [-1, -0.35, 0.45], right: [1, -0.35, 0.45], above: [0, -0.02, 1] };
    const way = new Vector3(...ways[side]!).normalize();
    this.orbit.target.copy(middle);
    this.camera.position.copy(middle).addScaledVector(way, this.away(way, high.sub(middle)));
    this.orbit.update();
    this.draw();
  }

  /** How far off all corners of a box are in sight, from `way`, with some paper round them; `half` is from its middle to a corner. */
  private away(way: Vector3, half: Vector3): number {
    const across = new Vector3().crossVectors(this.camera.up, way).normalize();
    const upward = new Vector3().crossVectors(way, across);
    const tall = Math.tan((this.camera.fov * Math.PI) / 360);
    const signs = [-1, 1];
    const corners = signs.flatMap((x) => signs.flatMap((y) => signs.map((z) => new Vector3(x * half.x, y * half.y, z * half.z))));
    return Math.max(...corners.map((corner) => corner.dot(way) + (ROUND * Math.max(Math.abs(corner.dot(upward)), Math.abs(corner.dot(across)) / this.camera.aspect)) / tall));
  }

  /** Take the size of the paper. */
  fit(): void {
    const width = this.canvas.parentElement?.clientWidth ?? 0;
    if (!width) return;
    const height = Math.round(Math.min(width * 0.66, 900));
    this.renderer.setSize(width, height, false);
    this.canvas.style.width = `${width}px`;
    this.canvas.style.height = `${height}px`;
    this.camera.aspect = width / height;
    this.camera.updateProjectionMatrix();
    this.draw();
  }

  dispose(): void {
    cancelAnimationFrame(this.asked);
    this.ends.all();
    this.canvas.removeEventListener("keydown", this.key);
    this.canvas.removeEventListener("pointerdown", this.down);
    this.canvas.removeEventListener("pointerup", this.up);
    this.hold.dispose();
    this.orbit.dispose();
    for (const group of [this.model, this.marks, this.beams, this.lens]) cleared(group);
    this.renderer.dispose();
  }

  /** Where the lens comes from is where the maker left a wall off; without a move, the side of y = 0. */
  private openSide(): [number, number, number] {
    const drawing = this.bench.drawing.get();
    const path = drawing?.shots.find((shot) => shot.name === this.bench.shot.get())?.path;
    if (!path?.length || !this.bounds) return [0.25, -1, 0.5];
    const [low, high] = this.bounds;
    const away = path[0]!.map((x, i) => x - (low[i]! + high[i]!) / 2);
    const length = Math.hypot(away[0]!, away[1]!) || 1;
    return [away[0]! / length, away[1]! / length, 0.45];
  }

  private readonly draw = (): void => {
    this.asked ||= requestAnimationFrame(() => {
      this.asked = 0;
      this.renderer.render(this.scene, this.camera);
      this.canvas.dataset.drawn = "1";
    });
  };

  private ink(name: string): Color {
    return new Color(getComputedStyle(document.documentElement).getPropertyValue(name).trim());
  }

  private readonly paint = (): void => {
    cleared(this.marks);
    this.lamps.clear();
    const drawing = this.bench.drawing.get();
    if (!drawing) return;
    for (const lamp of drawing.lamps) {
      const ball = new Mesh(new SphereGeometry(9, 20, 14), new MeshBasicMaterial({ color: this.ink("--light") }));
      ball.position.set(...lamp.at);
      ball.name = lamp.name;
      this.lamps.set(lamp.name, ball);
      this.marks.add(ball, line([lamp.at, lamp.toward], this.ink("--light")));
      if (!lamp.inside) this.marks.add(line([lamp.at, [lamp.at[0], lamp.at[1], Math.min(0, drawing.bounds[0][2])]], this.ink("--pencil")));
    }
    if (drawing.slider) this.marks.add(line([drawing.slider.from, drawing.slider.to], this.ink("--pencil")));
    const [low, high] = drawing.bounds;
    this.marks.add(new LineLoop(points([[low[0], low[1], low[2]], [high[0], low[1], low[2]], [high[0], high[1], low[2]], [low[0], high[1], low[2]]]), new LineBasicMaterial({ color: this.ink("--pencil-light") })));
    this.choose();
    this.cast();
    this.place();
  };

  private readonly cast = (): void => {
    cleared(this.beams);
    const light = this.bench.light.get();
    for (const shaft of light?.shafts ?? []) {
      const corners: Point[] = [];
      shaft.lines.forEach(([a, b], i) => {
        const [c, d] = shaft.lines[(i + 1) % shaft.lines.length]!;
        corners.push(a, b, d, a, d, c);
      });
      this.beams.add(new Mesh(points(corners), new MeshBasicMaterial({ color: this.ink("--light-fill"), transparent: true, opacity: 0.1, depthWrite: false, side: DoubleSide })));
    }
    // While a lamp is being moved the model's own light is of before; where the light lands now is outlined on it.
    if (light?.seq != null) for (const patch of light.patches) this.beams.add(new LineLoop(points(patch.outline_mm), new LineBasicMaterial({ color: this.ink("--light") })));
    this.draw();
  };

  private readonly place = (): void => {
    cleared(this.lens);
    const shot = this.bench.drawing.get()?.shots.find(({ name }) => name === this.bench.shot.get());
    if (shot?.path.length) {
      this.lens.add(line(shot.path, this.ink("--touch")));
      const at = shot.take_at.findIndex((s) => s >= this.bench.takeS.get());
      const i = at < 0 ? shot.path.length - 1 : at;
      const [pan, tilt] = [(shot.pan[i] ?? 0) * (Math.PI / 180), (shot.tilt[i] ?? 0) * (Math.PI / 180)];
      const eye = new Vector3(...shot.path[i]!);
      const forward = new Vector3(Math.cos(pan) * Math.cos(tilt), Math.sin(pan) * Math.cos(tilt), Math.sin(tilt));
      const left = new Vector3(-Math.sin(pan), Math.cos(pan), 0);
      const up = forward.clone().cross(left);
      const far = 60;
      const corner = (x: number, y: number): Point => eye.clone().addScaledVector(forward, far).addScaledVector(left, -x * far * shot.half_width).addScaledVector(up, y * far * shot.half_height).toArray();
      const frame = [corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1)];
      const edges = frame.flatMap((point, k) => [eye.toArray() as Point, point, point, frame[(k + 1) % 4]!]);
      this.lens.add(new LineSegments(points(edges), new LineBasicMaterial({ color: this.ink("--touch") })));
    }
    this.draw();
  };

  private readonly choose = (): void => {
    if (this.holding) return;
    const chosen = this.bench.chosen.get();
    const lamp = chosen?.[0] === "lamp" ? this.lamps.get(chosen[1]!) : undefined;
    if (lamp) this.hold.attach(lamp);
    else this.hold.detach();
    this.draw();
  };

  /** A lamp that is being moved is tried out; let go, it is put into the file. */
  private carry(done: boolean): void {
    const lamp = this.hold.object;
    if (!lamp || !this.holding) return;
    const at = lamp.position.toArray().map((x) => Math.round(x));
    const changes = [{ key: ["lamp", lamp.name, "at"], to: at }];
    if (!done) return this.bench.tryOut(changes);
    this.holding = false;
    void this.bench.edit(changes, `Move lamp ${lamp.name}`).then(({ done: how }) => how !== "accepted" && this.paint());
  }

  private pressed: { x: number; y: number } | null = null;
  private readonly down = (event: PointerEvent): void => {
    this.pressed = { x: event.clientX, y: event.clientY };
  };
  private readonly up = (event: PointerEvent): void => {
    const { pressed } = this;
    this.pressed = null;
    if (!pressed || this.holding || Math.hypot(event.clientX - pressed.x, event.clientY - pressed.y) > 5) return;
    const box = this.canvas.getBoundingClientRect();
    const ray = new Raycaster();
    ray.setFromCamera(new Vector2((2 * (event.clientX - box.left)) / box.width - 1, 1 - (2 * (event.clientY - box.top)) / box.height), this.camera);
    const hit = ray.intersectObjects([...this.lamps.values()], false)[0];
    if (hit) this.bench.chosen.set(["lamp", hit.object.name]);
  };

  private readonly key = (event: KeyboardEvent): void => {
    const turns: Record<string, [number, number]> = { ArrowLeft: [-TURN, 0], ArrowRight: [TURN, 0], ArrowUp: [0, TURN], ArrowDown: [0, -TURN] };
    const turn = turns[event.key];
    const nearer = event.key === "+" || event.key === "=" ? 0.9 : event.key === "-" ? 1 / 0.9 : 0;
    if (!turn && !nearer) return;
    event.preventDefault();
    const off = this.camera.position.clone().sub(this.orbit.target);
    if (nearer) off.multiplyScalar(nearer);
    if (turn) {
      const around = Math.atan2(off.y, off.x) + turn[0];
      const height = Math.min(1.5, Math.max(-0.3, Math.atan2(off.z, Math.hypot(off.x, off.y)) + turn[1]));
      const length = off.length();
      off.set(length * Math.cos(height) * Math.cos(around), length * Math.cos(height) * Math.sin(around), length * Math.sin(height));
    }
    this.camera.position.copy(this.orbit.target).add(off);
    this.orbit.update();
    this.draw();
  };
}

function points(of: readonly (readonly number[])[]): BufferGeometry {
  return new BufferGeometry().setAttribute("position", new BufferAttribute(new Float32Array(of.flat()), 3));
}

function line(of: readonly (readonly number[])[], color: Color): Line {
  return new Line(points(of), new LineBasicMaterial({ color }));
}

/** Empty a group, and give back what the graphics card keeps of it. */
function cleared(group: Group): void {
  for (const child of [...group.children] as (Object3D & { geometry?: BufferGeometry; material?: MeshBasicMaterial | RawShaderMaterial })[]) {
    group.remove(child);
    child.geometry?.dispose();
    if (child.material instanceof RawShaderMaterial) for (const uniform of Object.values(child.material.uniforms)) if (uniform.value instanceof DataTexture) uniform.value.dispose();
    child.material?.dispose();
  }
}
