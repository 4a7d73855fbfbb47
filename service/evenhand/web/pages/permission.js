// The page of a link by which a person says themselves what they agree to.

import { letterhead } from "./client/letterhead.js";
import { sayTrouble } from "./client/told.js";
import { element, fill, refill } from "./element.js";
import { Service } from "./service.js";
import { inOrder } from "./steps.js";
import { loadWords, say, sayOr } from "./words.js";

const token = location.hash.slice(1);
const service = new Service(() => token);
const NOTICES = ["permission", "personal data", "doctor"];

async function begin() {
  await loadWords("client");
  addEventListener("hashchange", () => location.reload());
  const main = document.getElementById("main");
  main.className = "narrow";
  const bar = letterhead(service, document.getElementById("bar"));
  const place = element("div");
  fill(main, place);
  const channel = new BroadcastChannel("evenhand.permission");
  channel.onmessage = () => look();

  const look = async () => {
    let asked;
    try {
      asked = await service.get("/v1/asked");
    } catch (error) {
      fill(main, element("h1", {}, say("client.closed")),
           element("p", {}, [401, 403].includes(error.status) ? say("client.closed-why") : sayTrouble(error)));
      return;
    }
    bar.show(asked.studio, asked.shoot);
    document.title = say("asked.title", { name: asked.name });
    refill(place, asked, () => form(asked));
  };

  const form = (asked) => {
    const agreed = new Set(asked.agreed);
    const trouble = element("p", { class: "wrong", role: "alert" });
    const boxes = inOrder(Object.keys(asked.steps)).map((step) =>
      element("input", { type: "checkbox", value: step, checked: agreed.has(step), "data-key": step }));
    const guardian = element("input", { type: "checkbox", checked: asked.child, disabled: asked.child });
    const askRole = () => { for (const part of [roleLabel, role]) part.hidden = !guardian.checked; };
    guardian.addEventListener("change", askRole);
    const roleLabel = element("label", { for: "role" }, say("said.role"));
    const role = element("input", { id: "role", maxlength: "200", autocomplete: "off", list: "roles" });
    const save = async (event) => {
      event.preventDefault();
      const now = boxes.filter((box) => box.checked).map((box) => box.value);
      const who = guardian.checked ? { said_by: "guardian", role: role.value.trim() || null } : { said_by: "person" };
      const given = now.filter((step) => !agreed.has(step)), taken = [...agreed].filter((step) => !now.includes(step));
      try {
        if (given.length) await service.post("/v1/asked/permission", { steps: given, ...who });
        if (taken.length) await service.post("/v1/asked/withdrawal", { steps: taken, ...who });
        document.getElementById("news").textContent = say("asked.saved");
        channel.postMessage("changed");
        await look();
      } catch (error) {
        trouble.textContent = sayTrouble(error);
      }
    };
    askRole();
    return element("form", { onsubmit: save },
      element("h1", {}, say("asked.title", { name: asked.name })),
      element("p", {}, say("asked.why", { shoot: asked.shoot })),
      element("fieldset", {}, element("legend", {}, say("asked.steps")),
        boxes.map((box) => element("label", { class: "line" }, box,
          element("span", {}, element("strong", {}, sayOr(`step.${box.value}`, box.value)), " ",
            sayOr(`step-means.${box.value}`, asked.steps[box.value]))))),
      element("label", { class: "line" }, guardian, element("span", {}, say("asked.guardian"))),
      roleLabel, role,
      element("datalist", { id: "roles" }, ["mother", "father", "legal"].map((one) => element("option", { value: say(`said.role.${one}`) }))),
      trouble, element("button", { class: "main" }, say("asked.save")),
      element("p", { class: "quiet" }, say("asked.any-time")),
      element("ul", { class: "notices" }, NOTICES.map((one) => element("li", {}, say(`notice.${one}`)))));
  };
  await look();
}

begin();
