// Fingers, mouse and wheel on a picture: one moves it, two pinch and move it, the wheel zooms once asked.

const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

export function handle(pane, acts) {
  const { canvas } = pane;
  const down = new Map();
  const middle = () => {
    const all = [...down.values()];
    return { clientX: all.reduce((sum, each) => sum + each.clientX, 0) / all.length, clientY: all.reduce((sum, each) => sum + each.clientY, 0) / all.length };
  };
  const width = () => {
    const [one, other] = [...down.values()];
    return Math.hypot(one.clientX - other.clientX, one.clientY - other.clientY);
  };

  canvas.addEventListener("pointerdown", (event) => {
    if (down.size >= 2) return;
    try {
      canvas.setPointerCapture(event.pointerId);
    } catch {
      // a pointer that is gone already moves nothing
    }
    down.set(event.pointerId, event);
    if (down.size === 1) acts.point(pane.at(event));
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!down.has(event.pointerId)) {
      if (!down.size) acts.point(pane.at(event));
      return;
    }
    const [from, wide] = [middle(), down.size === 2 ? width() : 0];
    down.set(event.pointerId, event);
    const to = middle();
    acts.pan(pane, to.clientX - from.clientX, to.clientY - from.clientY);
    // what lies between the fingers stays between them
    if (down.size === 2 && wide > 0) acts.zoom(width() / wide, pane.at(to));
    else acts.point(pane.at(event));
  });
  for (const name of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(name, (event) => {
      if (down.delete(event.pointerId) && !down.size) acts.rest();
    });
  }
  canvas.addEventListener("wheel", (event) => {
    // else it scrolls the page
    if (!event.ctrlKey && !event.metaKey && document.activeElement !== canvas) return;
    event.preventDefault();
    acts.zoom(1.0015 ** -(event.deltaY * (event.deltaMode === 1 ? 16 : 1)), pane.at(event));
  }, { passive: false });
  canvas.addEventListener("keydown", (event) => {
    const move = step[event.key];
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (move && event.shiftKey) acts.pan(pane, -60 * move[0], -60 * move[1]);
    else if (move) acts.step(pane, ...move);
    else if (event.key === "+" || event.key === "=") acts.zoom(1.25, null);
    else if (event.key === "-") acts.zoom(0.8, null);
    else if (event.key === "0") acts.whole();
    else if (event.key === "Escape") canvas.blur();
    else return;
    event.preventDefault();
  });
}
