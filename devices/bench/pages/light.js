// The projector's pages: opened and ended from here, worked on their own.
import { texts } from "./texts.js";
import { told } from "./words.js";

const at = (id) => document.getElementById(id);

export function show(message) {
  at("light").disabled = message.running;
  at("light-off").hidden = !message.running;
  at("light-pages").hidden = !message.stage;
  if (message.stage) {
    at("stage").href = message.stage;
    at("remote").href = message.remote;
    at("code").textContent = message.code;
  }
  at("light-said").replaceChildren(...message.said.map((text) => {
    const one = document.createElement("li");
    one.textContent = told(text);
    return one;
  }));
}

at("light").onclick = () => tap({ do: "light", act: "open" }, texts.lightOn);
at("light-off").onclick = () => tap({ do: "light", act: "end" }, texts.lightOff);
