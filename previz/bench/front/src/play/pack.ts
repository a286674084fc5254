/**
 * A packed shot, unpacked: the header and the arrays that previz/bench/play.py wrote; the bytes are described in previz/bench/packing.py.
 */

/** Where the grid of a source of light lies; see previz/bench/air.py. */
export interface Shaft {
  seen: boolean;
  centre: number[];
  axes: number[];
  low: number[];
  size: number[];
  tiles: number[];
  first: number;
  layers: number;
  scale: number;
}

export interface Light {
  centres: number[][];
  shafts: Shaft[];
}

export interface Header {
  schema: number;
  shot: string;
  lamps: string[];
  sources: { lamp: number; rgb: number[] }[];
  left_out: string[];
  swirls: { moments_s: number[]; low: number[]; size: number[] } | null;
  chart_width: number;
  chart_rows: [number, number];
  charts: number;
  cells_first: number[];
  haze: { extinction_per_mm: number; scattering_per_mm: number; albedo: number; low: number[]; step: number[]; shape: number[] };
  moments_s: number[];
  lights: Light[];
  lens_places: number;
  tile: number;
  tone: { middle: number; knee: number; white_stops: number };
  take_s: number;
  clip_s: number;
  exposure_s: number;
  size: [number, number];
  cos4: boolean;
  white: number[];
  arrays: Record<string, { type: string; shape: number[]; at: number }>;
}

export interface Packed {
  data: Float32Array | Uint16Array | Uint8Array;
  shape: number[];
}

export interface Pack<H = Header> {
  header: H;
  /** float32 and uint8 arrays as they are; float16 arrays as the bits that a texture takes. */
  array(name: string): Packed;
}

export function unpackArrays<H extends { schema: number }>(buffer: ArrayBuffer): Pack<H> {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length))) as H & Pick<Header, "arrays">;
  if (header.schema !== 1) throw new Error("This page is older than its server: load it again.");
  return {
    header,
    array(name) {
      const place = header.arrays[name];
      if (!place) throw new Error(`the packed bytes have no ${name}`);
      const count = place.shape.reduce((a, b) => a * b, 1);
      const at = 4 + length + place.at;
      const kind = place.type === "uint8" ? Uint8Array : place.type === "float16" ? Uint16Array : Float32Array;
      return { data: new kind(buffer, at, count), shape: place.shape };
    },
  };
}

export const unpack = (buffer: ArrayBuffer): Pack => unpackArrays<Header>(buffer);

/** The number that the 16 bits of a half float mean (IEEE 754 binary16). */
export function fromHalf(bits: number): number {
  const sign = bits & 0x8000 ? -1 : 1;
  const exponent = (bits >> 10) & 31;
  const fraction = bits & 1023;
  if (exponent === 0) return sign * fraction * 2 ** -24;
  if (exponent === 31) return fraction ? NaN : sign * Infinity;
  return sign * (1 + fraction / 1024) * 2 ** (exponent - 15);
}
