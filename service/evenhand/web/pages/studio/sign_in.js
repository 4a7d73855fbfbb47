// Where the photographer enters the access token that the service printed at its first start.

import { element, fill } from "../element.js";
import { Service } from "../service.js";
import { say } from "../words.js";

export function signIn(studio, main) {
  const trouble = element("p", { class: "wrong", role: "alert" });
  const token = element("input", { type: "password", id: "token", autocomplete: "current-password", required: true });
  const enter = async (event) => {
    event.preventDefault();
    try {
      await new Service(() => token.value.trim()).get("/v1/shoots");
      studio.signIn(token.value.trim());
    } catch (error) {
      trouble.textContent = error.status === 401 ? say("sign-in.refused") : error.message;
    }
  };
  document.title = `${say("sign-in")} · Evenhand`;
  main.className = "narrow";
  fill(main,
    element("h1", {}, say("sign-in")),
    element("form", { onsubmit: enter },
      element("p", {}, say("sign-in.why")),
      element("label", { for: "token" }, say("sign-in.token")), token,
      element("button", { type: "submit", class: "main" }, say("sign-in.do")), trouble));
}
