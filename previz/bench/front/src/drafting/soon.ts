// Drawing once a picture of the screen, however often it is asked for.

export interface Soon {
  ask(): void;
  stop(): void;
}

export function soon(draw: () => void): Soon {
  let frame = 0;
  return {
    ask() {
      frame ||= requestAnimationFrame(() => {
        frame = 0;
        draw();
      });
    },
    stop() {
      cancelAnimationFrame(frame);
      frame = 0;
    },
  };
}
