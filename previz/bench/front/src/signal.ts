// A value that papers watch. Nothing is told twice: setting the same value again is silent.

export interface Signal<T> {
  get(): T;
  set(value: T): void;
  /** Call f now and after every change; the returned function ends that. */
  on(f: (value: T) => void): () => void;
}

export function signal<T>(first: T): Signal<T> {
  let value = first;
  const watching = new Set<(value: T) => void>();
  return {
    get: () => value,
    set(next) {
      if (Object.is(next, value)) return;
      value = next;
      for (const f of [...watching]) if (watching.has(f)) f(value);
    },
    on(f) {
      watching.add(f);
      f(value);
      return () => void watching.delete(f);
    },
  };
}
