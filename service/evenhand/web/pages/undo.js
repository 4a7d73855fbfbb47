// What was done, so that it can be undone and done again, also after the page was loaded anew.
//
// A deed is plain data: {kind, label, undo, redo}, where undo and redo are requests
// {method, path, json} or {method, path, png}; the answer's id replaces "{made}" in later paths.

const MOST = 100;

export class Deeds {
  /** @param place  a name under which they are kept; @param run  does a request, gives its answer */
  constructor(place, run, changed) {
    Object.assign(this, { key: `evenhand.deeds.${place}`, run, changed });
    const kept = JSON.parse(sessionStorage.getItem(this.key) ?? '{"done":[],"undone":[]}');
    this.done = kept.done;
    this.undone = kept.undone;
    this.busy = Promise.resolve();
  }

  /** Do something and remember it. */
  do(deed) {
    return this.#next(async () => {
      deed.made = (await this.run(deed.redo, deed.made))?.id ?? deed.made;
      this.#remember(deed);
    });
  }

  undo() {
    return this.#next(async () => {
      const deed = this.done.at(-1);
      if (!deed) return null;
      await this.run(deed.undo, deed.made);
      this.undone.push(this.done.pop());
      return deed;
    });
  }

  redo() {
    return this.#next(async () => {
      const deed = this.undone.at(-1);
      if (!deed) return null;
      deed.made = (await this.run(deed.redo, deed.made))?.id ?? deed.made;
      this.done.push(this.undone.pop());
      return deed;
    });
  }

  /** Forget what was done at paths that name something, now that it is gone. */
  forget(name) {
    const stays = (deed) => !deed.redo.path?.includes(name);
    this.done = this.done.filter(stays);
    this.undone = this.undone.filter(stays);
    this.#keep();
  }

  #remember(deed) {
    const last = this.done.at(-1);
    if (deed.same && last?.same === deed.same && Date.now() - last.at < 1000) {
      last.redo = deed.redo; // one drag is one deed
      last.at = Date.now();
    } else {
      this.done.push({ ...deed, at: Date.now() });
      this.done.splice(0, this.done.length - MOST);
    }
    this.undone.length = 0;
  }

  /** One after the other; a deed that fails is told to whoever asked. */
  #next(work) {
    const running = this.busy.then(work);
    this.busy = running.catch(() => undefined).finally(() => this.#keep());
    return running.finally(() => this.changed?.());
  }

  #keep() {
    try {
      sessionStorage.setItem(this.key, JSON.stringify({ done: this.done, undone: this.undone }));
    } catch {
      this.done.splice(0, Math.ceil(this.done.length / 2)); // too much is kept: the oldest go
    }
    this.changed?.();
  }
}
