// What the bench can make by button, and the few options of each, in the words of the command line.

import type { Value } from "../protocol";

export interface Choice {
  name: string;
  label: string;
  /** A choice's words, a text to type, a number, a switch, or names of the file's things. */
  kind: "choice" | "text" | "number" | "switch" | "shot" | "lamp" | "wall" | "wish";
  choices?: string[];
  start?: string | number | boolean;
  hint?: string;
  /** Sent as a list of one. */
  list?: boolean;
}
export interface Verb {
  verb: "make" | "sheet" | "cut" | "aim" | "explore" | "export" | "reel" | "check";
  title: string;
  says: string;
  options: Choice[];
}

const SIZES = ["480x270", "640x360", "960x540", "1280x720", "1920x1080"];
const PAPER: Choice = { name: "paper", label: "paper", kind: "choice", choices: ["A4", "A3", "Letter"], start: "A4" };

export const VERBS: Verb[] = [
  { verb: "cut", title: "Wall templates", says: "Each wall at 1:1, to cut by.", options: [
    PAPER,
    { name: "format", label: "as", kind: "choice", choices: ["pdf", "svg", "dxf", "pdf,svg,dxf"], start: "pdf" },
    { name: "measured", label: "the 100 mm bar of an earlier print measured, mm", kind: "number", start: 100 },
  ] },
  { verb: "sheet", title: "Paper for the day", says: "Bill, setup, drawings to scale, a page a shot.", options: [
    PAPER,
    { name: "format", label: "as", kind: "choice", choices: ["pdf", "svg", "pdf,svg"], start: "pdf" },
  ] },
  { verb: "reel", title: "A reel", says: "The move as a video at playback speed, with a contact sheet.", options: [
    { name: "shot", label: "shot", kind: "shot" },
    { name: "size", label: "size", kind: "choice", choices: SIZES, start: "480x270" },
    { name: "proxy", label: "plain shapes, quick", kind: "switch", start: false },
  ] },
  { verb: "aim", title: "Aim", says: "Where the lamp must stand for its light to land as wished.", options: [
    { name: "wish", label: "wish", kind: "wish", hint: "opening > prop", list: true },
    { name: "lamp", label: "lamp", kind: "lamp" },
    { name: "tolerance", label: "how far it may be off instead", kind: "switch", start: false },
  ] },
  { verb: "explore", title: "Variants", says: "Many variants side by side: pictures, figures, the best.", options: [
    { name: "vary", label: "vary", kind: "text", hint: "lamp.NAME.at.z=800..1200:5", list: true },
    { name: "best", label: "best by", kind: "text", hint: "contrast_stops max", list: true },
    { name: "shot", label: "shot", kind: "shot" },
  ] },
  { verb: "export", title: "Open files", says: "Set, lamps, moves and patches for other programs.", options: [
    { name: "only", label: "only", kind: "choice", choices: ["gltf,csv,json,patches", "gltf", "csv", "json", "patches"], start: "gltf,csv,json,patches" },
  ] },
  { verb: "make", title: "All of it", says: "Pictures, reels, templates, drawings and the sheet, with a page.", options: [
    { name: "size", label: "size of pictures", kind: "choice", choices: SIZES, start: "960x540" },
  ] },
];

/** What is sent of one option; undefined leaves it out. */
export function asSent(choice: Choice, typed: string | boolean): Value | undefined {
  if (typeof typed === "boolean") return typed || undefined;
  const text = typed.trim();
  if (!text) return undefined;
  const value = choice.kind === "number" ? Number(text) : text;
  return choice.list ? [value] : value;
}
