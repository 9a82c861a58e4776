// Wheel, drag, pinch and keys on the scope's picture.
import {nextSpan} from "./timebase.js";

const GRAB_px = 14; // this near to a cursor its line is taken

export function watchGestures(stack, scope) {
  const fingers = new Map();
  let dragged = null, pinch = null;
  const place = (event) => event.clientX - stack.getBoundingClientRect().left;
  const near = (x, reach) => (scope.cursors ? ["A", "B"].filter((name) => Math.abs(scope.xOf(scope.cursors[name]) - x) < reach)
    .sort((a, b) => Math.abs(scope.xOf(scope.cursors[a]) - x) - Math.abs(scope.xOf(scope.cursors[b]) - x))[0] : undefined);
  const spread = () => {
    const [a, b] = [...fingers.values()];
    return {size: Math.max(10, Math.abs(a - b)), middle: (a + b) / 2};
  };

  stack.addEventListener("wheel", (event) => {
    if (event.shiftKey || Math.abs(event.deltaX) > Math.abs(event.deltaY)) {
      scope.pan(((event.deltaX || event.deltaY) / scope.plot.width) * scope.span_s);
    } else if (event.ctrlKey || document.activeElement === stack) {
      scope.zoom(nextSpan(scope.span_s, event.deltaY > 0 ? 1 : -1), scope.timeAt(place(event)));
    } else return; // the page scrolls; a click into the picture makes the wheel zoom
    event.preventDefault();
  }, {passive: false});

  stack.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    stack.focus({preventScroll: true});
    const x = place(event);
    fingers.set(event.pointerId, x);
    stack.setPointerCapture(event.pointerId);
    if (fingers.size === 2) {
      dragged = null;
      pinch = {...spread(), span_s: scope.span_s};
      return;
    }
    const name = near(x, event.pointerType === "touch" ? 2 * GRAB_px : GRAB_px);
    dragged = name ? {cursor: name} : {x, moved: false};
  });
  stack.addEventListener("pointermove", (event) => {
    const x = place(event);
    stack.style.cursor = near(x, GRAB_px) ? "ew-resize" : "";
    if (!fingers.has(event.pointerId)) return;
    fingers.set(event.pointerId, x);
    if (pinch && fingers.size === 2) {
      const now = spread();
      scope.zoom((pinch.span_s * pinch.size) / now.size, scope.timeAt(pinch.middle));
    } else if (dragged?.cursor) {
      scope.moveCursor(dragged.cursor, scope.timeAt(x));
    } else if (dragged && (dragged.moved || Math.abs(x - dragged.x) > 4)) {
      scope.pan(((dragged.x - x) / scope.plot.width) * scope.span_s);
      dragged = {x, moved: true};
    }
  });
  const up = (event) => {
    // A plain click puts the chosen cursor there.
    if (event.type === "pointerup" && dragged && !dragged.cursor && !dragged.moved && scope.cursors) scope.moveCursor(scope.cursor, scope.timeAt(place(event)));
    fingers.delete(event.pointerId);
    dragged = null;
    if (fingers.size < 2) pinch = null;
  };
  stack.addEventListener("pointerup", up);
  stack.addEventListener("pointercancel", up);

  stack.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const fine = scope.span_s / 200, cursor = (by) => scope.cursors && scope.moveCursor(scope.cursor, scope.cursors[scope.cursor] + by);
    const acts = {
      ArrowLeft: () => scope.pan(-scope.span_s / 10), ArrowRight: () => scope.pan(scope.span_s / 10),
      PageUp: () => scope.pan(-scope.span_s), PageDown: () => scope.pan(scope.span_s),
      "+": () => scope.zoom(nextSpan(scope.span_s, -1)), "=": () => scope.zoom(nextSpan(scope.span_s, -1)),
      "-": () => scope.zoom(nextSpan(scope.span_s, +1)), Home: () => scope.follow(),
      "[": () => cursor(-fine), "]": () => cursor(fine), "{": () => cursor(-10 * fine), "}": () => cursor(10 * fine),
      a: () => scope.cursors && scope.moveCursor("A", scope.cursors.A), b: () => scope.cursors && scope.moveCursor("B", scope.cursors.B),
    };
    if (!acts[event.key]) return;
    acts[event.key]();
    event.preventDefault();
    event.stopPropagation(); // not the driver's keys as well
  });
}
