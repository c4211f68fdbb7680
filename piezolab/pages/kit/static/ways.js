// Links to the neighbouring pages. Outside a served page there are no addresses: there it names the files.
export default {
  render({ model, el }) {
    const served = document.body.hasAttribute("data-voila");
    const nav = document.createElement("nav");
    const slim = model.get("slim");
    nav.className = slim ? "pz-slim" : "pz-ways";
    nav.setAttribute("aria-label", slim ? "chapters, above" : "chapters");
    // Above the title, which is the notebook's own prose and stands in a cell before this one.
    const page = slim && served ? document.getElementById("rendered_cells") : null;
    if (page) page.prepend(nav);
    else el.append(nav);
    function item({ way, slug, title, file }, query) {
      const words = title && !slim ? `${way}: ${title}` : way;
      const node = document.createElement(served ? "a" : "span");
      if (served) {
        node.href = (slug || "./") + query;
        node.dataset.way = way;
        if (title && slim) node.title = title;
      }
      node.textContent = served ? words : `${words} (${file})`;
      return node;
    }
    function show() {
      const query = model.get("query") ? "?" + model.get("query") : "";
      const nodes = model.get("ways").map((way) => item(way, query));
      if (slim && model.get("place")) {
        const place = document.createElement("span");
        place.textContent = model.get("place");
        nodes.splice(model.get("ways").findIndex(({ way }) => way === "next") < 0 ? nodes.length : nodes.length - 1, 0, place);
      }
      nav.replaceChildren(...nodes);
    }
    model.on("change:query", show);
    show();
    return () => {
      model.off("change:query", show);
      nav.remove();
    };
  },
};
