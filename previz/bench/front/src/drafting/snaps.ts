// What an opening snaps to while it is dragged over its wall: its neighbours' edges and middles, the wall's middle, equal gaps, the narrowest web.

export interface Span {
  low: number;
  high: number;
}
export interface Named extends Span {
  name: string;
}
export interface Snap {
  /** Where the span's lower edge, or the edge that is dragged, comes to lie. [mm] */
  at: number;
  /** Line to draw across the wall. [mm] */
  line: number;
  words: string;
}
/** The wall along one axis: its own span, the other openings', and how little material may stay between cuts. */
export interface Course {
  wall: Span;
  others: Named[];
  web: number;
  middle: string;
}

const middle = (span: Span) => (span.low + span.high) / 2;

/** Snaps for a span of this size that is moved as a whole to `low`. */
export function snapsMoved(course: Course, low: number, size: number): Snap[] {
  const found: Snap[] = [];
  const add = (at: number, line: number, words: string) => found.push({ at, line, words });
  for (const other of course.others) {
    add(other.low, other.low, `level with an edge of ${other.name}`);
    add(other.high - size, other.high, `level with an edge of ${other.name}`);
    add(middle(other) - size / 2, middle(other), `on the middle of ${other.name}`);
  }
  add(middle(course.wall) - size / 2, middle(course.wall), course.middle);
  const { before, after } = neighbours(course, { low, high: low + size });
  const even = (before.high + after.low - size) / 2;
  add(even, even + size / 2, "equal gaps on both sides");
  for (const gap of gaps(course)) {
    add(before.high + gap.size, before.high + gap.size, `same gap as ${gap.words}`);
    add(after.low - gap.size - size, after.low - gap.size, `same gap as ${gap.words}`);
  }
  return [...found, ...webs(course, before, after).map((snap) => ({ ...snap, at: snap.line === before.high + course.web ? snap.at : snap.at - size }))];
}

/** Snaps for one edge that is dragged to `at` while the opposite edge stays at `fixed`. */
export function snapsSized(course: Course, at: number, fixed: number): Snap[] {
  const found: Snap[] = [];
  const grows = at >= fixed ? 1 : -1;
  for (const other of course.others) {
    found.push({ at: other.low, line: other.low, words: `level with an edge of ${other.name}` }, { at: other.high, line: other.high, words: `level with an edge of ${other.name}` });
    const same = fixed + grows * (other.high - other.low);
    found.push({ at: same, line: same, words: `same size as ${other.name}` });
  }
  const { before, after } = neighbours(course, { low: Math.min(at, fixed), high: Math.max(at, fixed) });
  const even = 2 * middle(course.wall) - fixed;
  found.push({ at: even, line: even, words: course.middle });
  return [...found, ...webs(course, before, after)];
}

/** The nearest of the snaps within reach, if any. */
export function nearest(snaps: Snap[], at: number, reach: number): Snap | null {
  const near = snaps.filter((snap) => Math.abs(snap.at - at) <= reach);
  return near.sort((a, b) => Math.abs(a.at - at) - Math.abs(b.at - at))[0] ?? null;
}

function webs(course: Course, before: Span, after: Span): Snap[] {
  const words = `narrowest web, ${Math.round(course.web * 10) / 10} mm`;
  return [
    { at: before.high + course.web, line: before.high + course.web, words },
    { at: after.low - course.web, line: after.low - course.web, words },
  ];
}

/** What lies next before and after a span: another opening, or the wall's end. */
function neighbours(course: Course, span: Span): { before: Span; after: Span } {
  const here = middle(span);
  const before = course.others.filter((o) => middle(o) < here).sort((a, b) => b.high - a.high)[0];
  const after = course.others.filter((o) => middle(o) >= here).sort((a, b) => a.low - b.low)[0];
  return { before: before ?? { low: course.wall.low, high: course.wall.low }, after: after ?? { low: course.wall.high, high: course.wall.high } };
}

function gaps(course: Course): { size: number; words: string }[] {
  const sorted = [...course.others].sort((a, b) => a.low - b.low);
  return sorted.slice(1).flatMap((next, i) => {
    const last = sorted[i]!;
    return next.low > last.high ? [{ size: next.low - last.high, words: `${last.name} to ${next.name}` }] : [];
  });
}
