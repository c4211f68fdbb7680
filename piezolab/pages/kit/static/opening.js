// Whose chain this is, with its buttons; keeps one's own in a cookie, which the server reads before the page is made.
const NAME = "piezolab-own";
const LABELS = { mine: "make it mine", back: "back to the example", forget: "forget mine" };
const A_YEAR = 31536000;

function keep(query) {
  const path = location.pathname.slice(0, location.pathname.lastIndexOf("/") + 1);
  const safe = location.protocol === "https:" ? "; secure" : "";
  // In a room others will sit here: there it goes with the browser's session.
  const until = query === "" ? "; max-age=0" : document.body.dataset.room === "yes" ? "" : `; max-age=${A_YEAR}`;
  const text = encodeURIComponent(query);
  document.cookie = `${NAME}=${text}; path=${path}; samesite=lax${safe}${until}`;
  // A browser that refuses cookies says nothing: look whether it is there.
  return document.cookie.split("; ").includes(`${NAME}=${text}`) === (query !== "");
}

export default {
  render({ model, el }) {
    el.classList.add("pz-opening");
    const said = document.createElement("span");
    const row = document.createElement("span");
    said.setAttribute("role", "status");
    el.append(said, row);
    function show() {
      said.textContent = model.get("said");
      const focused = document.activeElement?.dataset?.offer;
      row.replaceChildren(...model.get("offers").map((word) => {
        const button = document.createElement("button");
        button.type = "button";
        button.className = "pz-link";
        button.dataset.offer = word;
        button.textContent = LABELS[word];
        button.addEventListener("click", () => model.send({ word }));
        return button;
      }));
      if (focused) (row.querySelector(`[data-offer=${focused}]`) ?? row.querySelector("button"))?.focus();
    }
    function store() {
      const query = model.get("kept");
      if (document.body.hasAttribute("data-voila") && query !== null) model.send({ word: "kept", query, done: keep(query) });
    }
    model.on("change:said", show);
    model.on("change:offers", show);
    model.on("change:kept", store);
    show();
    store();
    return () => {
      model.off("change:said", show);
      model.off("change:offers", show);
      model.off("change:kept", store);
    };
  },
};
