// Sending photographs in parts (tus 1.0), kept in the browser's own store until they have arrived, so
// that a lost connection, a closed lid or a page loaded anew goes on where it was.

import { Problem } from "./service.js";
import { say } from "./words.js";

const PART = 4 * 1024 * 1024; // bytes of a part
const AGAIN_MS = 3000; // before trying again when the service does not answer
const TUS = { "Tus-Resumable": "1.0.0" };

function store() {
  return new Promise((done, fail) => {
    const opening = indexedDB.open("evenhand", 1);
    opening.onupgradeneeded = () => opening.result.createObjectStore("uploads", { keyPath: "id" });
    opening.onsuccess = () => done(opening.result);
    opening.onerror = () => fail(opening.error);
  });
}

async function inStore(mode, work) {
  const database = await store();
  return new Promise((done, fail) => {
    const change = database.transaction("uploads", mode);
    const asked = work(change.objectStore("uploads"));
    change.oncomplete = () => { database.close(); done(asked.result); };
    change.onerror = () => fail(change.error);
  });
}

const base64 = (text) => btoa(String.fromCharCode(...new TextEncoder().encode(text)));

export class Uploads extends EventTarget {
  constructor(service) {
    super();
    Object.assign(this, { service, list: [], running: false });
  }

  /** Take up what an earlier page left. Only one tab sends; another one takes over when it closes. */
  async begin() {
    navigator.locks.request("evenhand.uploads", async () => {
      this.sending = true;
      await this.#reload();
      this.#run();
      await new Promise(() => {});
    });
    this.channel = new BroadcastChannel("evenhand.uploads");
    this.channel.onmessage = () => this.#reload().then(() => this.sending && this.#run());
    await this.#reload();
  }

  async #reload() {
    const kept = await inStore("readonly", (uploads) => uploads.getAll());
    const known = new Map(this.list.map((upload) => [upload.id, upload]));
    this.list = [...this.list.filter((one) => one.state === "done" || one.state === "failed" && !kept.some((k) => k.id === one.id)),
                 ...kept.map((upload) => known.get(upload.id) ?? { ...upload, sent: 0, state: "waiting" })];
    this.#tell();
  }

  async add(shoot, files) {
    const pictures = [...files].filter((file) => file.size && !file.name.startsWith("."));
    for (const file of pictures) {
      const upload = { id: crypto.randomUUID(), shoot, name: file.name, size: file.size, file, url: null };
      await inStore("readwrite", (uploads) => uploads.put(upload));
      this.list.push({ ...upload, sent: 0, state: "waiting" });
    }
    this.#tell();
    this.channel?.postMessage("added");
    if (this.sending) this.#run();
    return pictures.length;
  }

  async drop(id) {
    const upload = this.list.find((one) => one.id === id);
    this.list = this.list.filter((one) => one.id !== id);
    if (upload) upload.dropped = true;
    await inStore("readwrite", (uploads) => uploads.delete(id));
    if (upload?.url && upload.state !== "done") {
      this.service.ask("DELETE", upload.url, { headers: TUS }).catch(() => undefined);
    }
    this.#tell();
  }

  of(shoot) {
    return this.list.filter((upload) => upload.shoot === shoot);
  }

  async #run() {
    if (this.running) return;
    this.running = true;
    for (let next; (next = this.list.find((upload) => upload.state === "waiting")); ) {
      next.state = "sending";
      try {
        await this.#send(next);
        next.state = "done";
        await inStore("readwrite", (uploads) => uploads.delete(next.id));
      } catch (error) {
        if (error instanceof Problem && [0, 503, 429].includes(error.status)) {
          next.state = "waiting";
          next.trouble = error.message;
          this.#tell();
          await new Promise((done) => setTimeout(done, AGAIN_MS));
          continue;
        }
        next.state = "failed";
        next.trouble = error.message ?? say("trouble.unknown");
        await inStore("readwrite", (uploads) => uploads.delete(next.id));
      }
      this.#tell();
    }
    this.running = false;
  }

  async #send(upload) {
    upload.trouble = null;
    let offset = await this.#offset(upload);
    while (offset < upload.size && !upload.dropped) {
      upload.sent = offset;
      this.#tell();
      const response = await this.service.ask("PATCH", upload.url, {
        headers: { ...TUS, "Upload-Offset": String(offset), "Content-Type": "application/offset+octet-stream" },
        body: upload.file.slice(offset, offset + PART),
      });
      offset = Number(response.headers.get("Upload-Offset"));
      upload.portrait = response.headers.get("Portrait");
    }
    upload.sent = upload.size;
  }

  /** How much has arrived; begins the upload where there is none, or none any more. */
  async #offset(upload) {
    if (upload.url) {
      try {
        const response = await this.service.ask("HEAD", upload.url, { headers: TUS });
        return Number(response.headers.get("Upload-Offset"));
      } catch (error) {
        if (![404, 410].includes(error.status)) throw error;
      }
    }
    const begun = await this.service.ask("POST", `/v1/shoots/${upload.shoot}/uploads`, {
      headers: { ...TUS, "Upload-Length": String(upload.size), "Upload-Metadata": `filename ${base64(upload.name)}` },
    });
    upload.url = new URL(begun.headers.get("Location"), location.href).pathname;
    const { id, shoot, name, size, file, url } = upload;
    await inStore("readwrite", (uploads) => uploads.put({ id, shoot, name, size, file, url }));
    return 0;
  }

  #tell() {
    this.dispatchEvent(new Event("change"));
  }
}

/** Files of a drop, folders opened. */
export async function droppedFiles(transfer) {
  const entries = [...transfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  if (!entries.length) return [...transfer.files];
  const found = [];
  const open = async (entry) => {
    if (entry.isFile) found.push(await new Promise((done, fail) => entry.file(done, fail)));
    else {
      const reader = entry.createReader();
      for (let some; (some = await new Promise((done, fail) => reader.readEntries(done, fail))).length; ) {
        for (const one of some) await open(one);
      }
    }
  };
  for (const entry of entries) await open(entry);
  return found;
}
