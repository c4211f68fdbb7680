// The bar of a lesson and the words of its screen.
const LOOK_MS = 2000; // how often a lesson that is being written is looked at again

export default {
  render({ model, el }) {
    el.classList.add("pz-step-head");
    const back = make("button", { type: "button", class: "pz-button" }, "‹ back");
    const on = make("button", { type: "button", class: "pz-button" }, "on ›");
    const place = make("span", { class: "pz-step-place" });
    const words = make("div", { class: "pz-step-words", role: "status" });
    const title = make("h2", {}, model.get("title"));
    el.append(title, make("nav", { class: "pz-step-bar", "aria-label": "steps of the lesson" }, back, place, on), words);
    let asked = false; // the visitor has turned over, so the new screen is brought into view
    function go(by) {
      const to = model.get("at") + by;
      if (to < 0 || to >= model.get("count")) return;
      asked = true;
      model.send({ word: "go", to });
    }
    back.addEventListener("click", () => go(-1));
    on.addEventListener("click", () => go(1));
    function show() {
      const at = model.get("at");
      const last = model.get("count") - 1;
      title.classList.toggle("pz-unseen", at > 0);
      place.textContent = `${at + 1} of ${last + 1}${model.get("solved") ? " ✓" : ""}`;
      back.setAttribute("aria-disabled", String(at === 0));
      on.setAttribute("aria-disabled", String(at === last));
      if (words.textContent !== model.get("said")) words.textContent = model.get("said");
      words.hidden = !words.textContent;
      el.dataset.at = at;
    }
    function turned() {
      show();
      if (asked) (el.closest(".pz-stepped") ?? el).scrollIntoView({ block: "start" });
      asked = false;
    }
    const fresh = () => document.visibilityState === "visible" && model.send({ word: "fresh" });
    const clock = model.get("watched") && document.body.dataset.room !== "yes" ? setInterval(fresh, LOOK_MS) : 0;
    const receive = (message) => message?.word === "reload" && location.reload();
    for (const name of ["said", "solved"]) model.on(`change:${name}`, show);
    model.on("change:at", turned);
    model.on("msg:custom", receive);
    show();
    return () => {
      clearInterval(clock);
      for (const name of ["said", "solved"]) model.off(`change:${name}`, show);
      model.off("change:at", turned);
      model.off("msg:custom", receive);
    };
  },
};
