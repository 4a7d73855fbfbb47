// Asking the service over HTTP, with a token, and saying plainly what went wrong.

import { say } from "./words.js";

/** What the service answers instead of what was asked for (RFC 9457). */
export class Problem extends Error {
  constructor(status, problem) {
    super([problem.detail, problem.advice].filter(Boolean).join(" ") || say("trouble.unknown"));
    this.status = status;
    this.kind = (problem.type ?? "").split("/").pop();
  }
}

export class Service {
  /** @param {() => string|null} token  gives the token at the moment of asking */
  constructor(token) {
    this.token = token;
  }

  /** A response; anything but success is thrown as a Problem. */
  async ask(method, path, { body, json, headers = {}, signal } = {}) {
    let response;
    try {
      response = await fetch(path, {
        method,
        signal,
        headers: {
          Authorization: `Bearer ${this.token() ?? ""}`,
          ...(json === undefined ? {} : { "Content-Type": "application/json" }),
          ...headers,
        },
        body: json === undefined ? body : JSON.stringify(json),
      });
    } catch (error) {
      if (error.name === "AbortError") throw error;
      throw new Problem(0, { detail: say("trouble.away") });
    }
    if (response.ok) return response;
    const text = await response.text();
    let problem = {};
    try {
      problem = JSON.parse(text);
    } catch {
      problem = { detail: text.slice(0, 200) };
    }
    throw new Problem(response.status, problem);
  }

  async get(path, options) {
    return (await this.ask("GET", path, options)).json();
  }

  async post(path, json, options) {
    return (await this.ask("POST", path, { json, ...options })).json();
  }

  async put(path, json) {
    return (await this.ask("PUT", path, { json })).json();
  }

  async remove(path) {
    const response = await this.ask("DELETE", path);
    return response.status === 204 ? null : response.json();
  }

  async picture(path, options) {
    return (await this.ask("GET", path, options)).blob();
  }
}
