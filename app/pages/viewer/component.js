// The door to Streamlit: one viewer for each place on the page, given what the page says on each of its runs.

/** @type {WeakMap<Element, Viewer>} */
const viewers = new WeakMap();

/** @param {{ parentElement: Element, data: PageData }} component what Streamlit gives on each run of the page */
export default function (component) {
  const { parentElement, data } = component;
  let viewer = viewers.get(parentElement);
  if (!viewer || !viewer.root.isConnected) {
    viewer = new Viewer(parentElement);
    viewers.set(parentElement, viewer);
  }
  viewer.take(data);
}
