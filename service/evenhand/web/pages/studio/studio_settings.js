// The studio's own name and mark, which its clients see at the head of their pages.

import { element, icon, refill } from "../element.js";
import { say } from "../words.js";

/** A button that opens the settings. */
export const studioSettingsButton = (studio) =>
  element("button", { type: "button", "data-key": "studio-settings", onclick: () => studioSettings(studio) }, say("identity"));

export async function studioSettings(studio) {
  const { service } = studio;
  let now = await service.get("/v1/studio").catch((error) => studio.trouble(error.message));
  if (!now) return;
  const trouble = element("p", { class: "wrong", role: "alert" });
  const name = element("input", { id: "studio-name", maxlength: "80", autocomplete: "organization", value: now.name });
  const file = element("input", { id: "studio-mark", type: "file", accept: "image/png,image/jpeg" });
  const shown = element("div", { class: "row" });
  const tried = async (work) => {
    trouble.textContent = "";
    try {
      now = await work();
      draw();
      return true;
    } catch (error) {
      trouble.textContent = error.message;
      return false;
    }
  };
  file.addEventListener("change", async () => {
    const [chosen] = file.files;
    if (chosen) await tried(async () => (await service.ask("PUT", "/v1/studio/mark", { body: chosen })).json());
    file.value = "";
  });
  const draw = () => refill(shown, now.mark_sha256, () => {
    if (!now.mark_sha256) return element("p", { class: "quiet" }, say("identity.no-mark"));
    const image = element("img", { class: "studio-mark", alt: say("identity.mark-now") });
    service.picture("/v1/studio/mark").then((blob) => (image.src = URL.createObjectURL(blob)), () => {});
    return [image, element("button", { type: "button", onclick: () => tried(() => service.remove("/v1/studio/mark")) }, icon("bin"), say("identity.remove"))];
  });
  const dialog = element("dialog", { "aria-labelledby": "identity-title", onclose: () => dialog.remove() },
    element("form", { onsubmit: async (event) => {
      event.preventDefault();
      if (await tried(() => service.put("/v1/studio", { name: name.value }))) dialog.close();
    } },
      element("h2", { id: "identity-title" }, say("identity")),
      element("p", {}, say("identity.why")),
      element("label", { for: "studio-name" }, say("identity.name")), name,
      element("label", { for: "studio-mark" }, say("identity.mark")), file, shown, trouble,
      element("div", { class: "row" }, element("button", { class: "main" }, say("identity.save")),
        element("button", { type: "button", onclick: () => dialog.close() }, say("close")))));
  draw();
  document.body.append(dialog);
  dialog.showModal();
}
