// Brings the pages' style along, and keeps what takes the keyboard's focus from hiding behind the verdict and the plot
// where these stay at the top of the screen: the browser scrolls clear of a strip as high as they are.
export default {
  render({ model, el }) {
    el.hidden = true;
    const rests = () => { el.dataset.rest = model.get("waiting") ? "waiting" : "done"; };
    rests();
    model.on("change:waiting", rests);
    if (!document.body.hasAttribute("data-voila")) return () => model.off("change:waiting", rests);
    const root = document.documentElement;
    let stick = null;
    function measure() {
      const found = document.querySelector(".pz-stick");
      if (found && found !== stick) {
        stick = found;
        size.observe(stick);
      }
      if (!stick) return;
      const around = stick.closest(".pz-try") ?? stick.parentElement; // beside it, nothing hides behind it
      const above = stick.offsetWidth > 0.9 * around.clientWidth;
      root.style.scrollPaddingTop = above ? `${stick.offsetHeight + 8}px` : "";
    }
    const size = new ResizeObserver(measure);
    size.observe(document.body);
    return () => {
      model.off("change:waiting", rests);
      size.disconnect();
      root.style.scrollPaddingTop = "";
    };
  },
};
