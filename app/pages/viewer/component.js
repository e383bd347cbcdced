// The door to Streamlit: one viewer for each place on the page, given what the page says on each of its runs.

/** @type {WeakMap<Element, Viewer>} */
const viewers = new WeakMap();

/** @typedef {{ parentElement: Element, data: PageData, setTriggerValue: (name: string, value: unknown) => void }} Mounted */

/** @param {Mounted} component what Streamlit gives on each run of the page */
export default function (component) {
  const { parentElement, data } = component;
  let viewer = viewers.get(parentElement);
  if (!viewer || !viewer.root.isConnected) {
    viewer = new Viewer(parentElement);
    viewers.set(parentElement, viewer);
  }
  const shown = viewer;
  shown.finished = () => component.setTriggerValue("finished", true);
  shown.settle = () => component.setTriggerValue("settle", true);
  shown.take(data);
  // Called when the page shows something else; it may be called before the bench is taken out, or on a new run alone.
  return () => void setTimeout(() => shown.root.isConnected || shown.stop());
}
