// Brings the pages' style along, and keeps what takes the keyboard's focus from hiding behind the verdict and the plot
// where these stay at the top of the screen: how high they are is told to look.css, which knows what lies under them.
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
      const stays = getComputedStyle(stick).position === "sticky";
      root.style.setProperty("--pz-stuck", stays ? `${stick.offsetHeight + 8}px` : "0px");
    }
    const size = new ResizeObserver(measure);
    size.observe(document.body);
    return () => {
      model.off("change:waiting", rests);
      size.disconnect();
      root.style.removeProperty("--pz-stuck");
    };
  },
};
