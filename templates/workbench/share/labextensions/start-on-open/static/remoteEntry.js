// Shows a notebook's forms as soon as it opens, brings them back after the calculation died, and keeps what was typed
// until the form says that it has arrived. Plain script, no build step; loaded through the launcher only.
(function () {
  let scope;
  const share = async (name) => (await Object.values(scope[name])[0].get())();

  // What was typed and has not arrived: class of the field -> text, for each notebook.
  const typed = new Map();
  const begun = new Set(); // those of them that were never entered, with Enter or by leaving the field
  let last = null; // the field that had the keyboard when its form went away
  const fieldOf = (node) => node && node.closest && node.closest('[class*="fit-at-"]');
  const nameOf = (field) => [...field.classList].find((name) => name.startsWith('fit-at-'));
  const keyOf = (field) => {
    const panel = field.closest('.jp-NotebookPanel');
    return `${panel ? panel.dataset.fitPath : ''} ${nameOf(field)}`;
  };
  const store = () => {
    try { sessionStorage.setItem('fit-typed', JSON.stringify([...typed])); sessionStorage.setItem('fit-begun', JSON.stringify([...begun])); } catch (_) { }
  };
  const recall = () => {
    const kept = (name) => JSON.parse(sessionStorage.getItem(name) || '[]');
    try { for (const [k, v] of kept('fit-typed')) typed.set(k, v); for (const k of kept('fit-begun')) begun.add(k); } catch (_) { }
  };

  const onInput = (event) => {
    const field = fieldOf(event.target);
    if (!field || !event.target.matches('input[type=text], textarea')) return;
    if (event.isTrusted && event.target !== inHand) {
      inHand = event.target; late = null;
      inHandKey = keyOf(field); wasWaiting = typed.has(inHandKey);
    }
    if (event.isTrusted) begun.add(inHandKey);
    typed.set(keyOf(field), event.target.value); store();
  };

  // A widget shows its last saved text again after any news from the kernel, also over what is being typed. So a text
  // in hand, that is typed and not yet sent with Enter or by leaving the field, is changed by the keyboard only.
  let inHand = null, inHandKey = '', wasWaiting = false, late = null;
  const onSend = (event) => {
    const input = event.target, news = late;
    if (input !== inHand) { enterBegun(event); return; }
    inHand = late = null;
    const isTaken = /^(.|Backspace|Delete)$/.test(lastKey); // by a run that died, not left
    if (!isTaken) begun.delete(inHandKey);
    store();
    fieldOf(input).classList.remove('fit-begun');
    if (event.type !== 'focusout') return;
    // Left as it was before the typing began: nothing is sent, and what came meanwhile is shown.
    if (!wasWaiting || typed.get(inHandKey) === news) { typed.delete(inHandKey); store(); }
    if (news !== null) input.value = news;
  };
  const send = (input) => ['input', 'change'].forEach((kind) => input.dispatchEvent(new Event(kind, { bubbles: true })));
  const enterBegun = (event) => { // what was put back and is left as it stands, or confirmed with Enter
    const field = fieldOf(event.target);
    if (!field || !field.matches('.fit-begun') || event.target === inHand || event.type === 'change') return;
    field.classList.remove('fit-begun');
    begun.delete(keyOf(field));
    send(event.target);
  };
  const guard = (input) => {
    if (Object.prototype.hasOwnProperty.call(input, 'value')) return;
    const { get, set } = Object.getOwnPropertyDescriptor(Object.getPrototypeOf(input), 'value');
    Object.defineProperty(input, 'value', { get, set(text) {
      if (this === inHand) late = text; else if (!this.closest('.fit-begun')) set.call(this, text);
    } });
  };
  const onFocus = (event) => {
    const field = fieldOf(event.target), row = event.target.closest && event.target.closest('.fit-row');
    if (field) last = keyOf(field);
    if (row) describe(row, event.target);
  };
  const arrived = (ack) => {
    const row = ack.closest('.jp-NotebookPanel');
    if (!row) return;
    const key = `${row.dataset.fitPath || ''} ${ack.dataset.at}`;
    if (typed.has(key) && typed.get(key) === ack.dataset.typed) { typed.delete(key); store(); }
  };
  const putBack = (input, field) => {
    const key = keyOf(field);
    // Another entry's. Taking away what is not there would be news to who watches, for ever.
    if (field.dataset.fitDone !== key && field.matches('.fit-begun')) field.classList.remove('fit-begun');
    if (typed.has(key) && input !== inHand && typed.get(key) !== input.value && field.dataset.fitDone !== key) {
      field.dataset.fitDone = key;
      input.value = typed.get(key);
      if (begun.has(key)) field.classList.add('fit-begun'); else send(input);
    }
    if (key === last && document.activeElement === document.body) input.focus();
  };
  const describe = (row, input) => { // what is said beside a field is read aloud with it
    const note = row.querySelector(':scope > .fit-note');
    if (!note) return;
    note.id = note.id || `fit-note-${Math.random().toString(36).slice(2)}`;
    input.setAttribute('aria-describedby', note.id);
  };
  const look = (node) => {
    if (node.nodeType !== 1) return;
    const within = (css) => [...(node.matches(css) ? [node] : []), ...node.querySelectorAll(css)];
    for (const ack of within('.fit-ack')) arrived(ack);
    for (const field of within('[class*="fit-at-"]')) named(field);
    for (const fold of within('.fit-fold')) setTimeout(() => unfold(fold), 0);
  };
  const named = (field) => { // a form's classes come after its input
    const input = nameOf(field) && field.querySelector('input[type=text], textarea');
    if (!input) return;
    guard(input);
    if (input === inHand && keyOf(field) !== inHandKey) { // the entry being typed was given another place
      typed.delete(inHandKey); begun.delete(inHandKey); inHandKey = keyOf(field); begun.add(inHandKey);
      typed.set(inHandKey, input.value); store();
    }
    setTimeout(() => putBack(input, field), 0);
  };

  const holds = (fold, name) => [...fold.classList].some((held) => held.startsWith('fit-holds-')
    && `${name}--`.startsWith(`${held.slice(10)}--`));
  const unfold = (fold) => { // what was typed and has not arrived is never folded away
    const panel = fold.closest('.jp-NotebookPanel'), start = `${panel ? panel.dataset.fitPath : ''} fit-at-`;
    const waits = [...typed.keys()].some((key) => key.startsWith(start) && holds(fold, key.slice(start.length)));
    if (waits && !fold.dataset.fitDone && fold.innerText.startsWith('+')) { fold.dataset.fitDone = 'yes'; fold.click(); }
  };

  // A link that names what lacks puts the keyboard into its field, which may be folded.
  const goTo = async (panel, name) => {
    const input = () => panel.querySelector(`.fit-at-${name} :is(input, select, textarea)`);
    const fold = [...panel.querySelectorAll('.fit-fold')].find((one) => holds(one, name));
    if (!input() && fold) fold.click();
    for (let n = 0; n < 100 && !input(); n++) await wait(50);
    if (input()) { input().scrollIntoView({ block: 'center' }); input().focus({ preventScroll: true }); }
  };

  // Forms of a kernel that runs already must be known here before the cells that show them run again.
  const WIDGETS = 'application/vnd.jupyter.widget-view+json';
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));
  const formsKnown = async (panel) => {
    try {
      const limit = Date.now() + 3000;
      let manager;
      while (!manager && Date.now() < limit) // a renderer made before the manager was there never hears of it
        manager = await Promise.race([panel.content.rendermime.createRenderer(WIDGETS)._manager.promise, wait(50)]);
      if (manager && !manager.restoredStatus)
        await Promise.race([new Promise((done) => manager.restored.connect(done)), wait(10000)]);
    } catch (_) { await wait(1000); } // another version of the widgets keeps its manager elsewhere: the forms still come
  };

  // Running leaves the page at its end and takes the keyboard: back to the field that had it, else to the top.
  const fieldBefore = (node) => {
    const [path, name] = (last || ' ').split(/ (?=fit-at-)/);
    const field = name && path === node.dataset.fitPath && node.querySelector('.' + name);
    return field && field.querySelector('input, select, textarea');
  };
  const giveBack = (panel) => {
    panel.node.dataset.fitRanAt = Date.now();
    if (panel.node.querySelector('.fit :focus')) return;
    const input = fieldBefore(panel.node);
    if (input) { input.focus(); return; }
    panel.content.activeCellIndex = 0;
    const page = panel.node.querySelector('.jp-WindowedPanel-outer');
    if (page) page.scrollTop = 0;
  };
  // Lab takes the keyboard once more a moment after the run; nobody pressed anything, so it goes back.
  let pressed = 0, lastKey = '';
  const onPress = (event) => { pressed = Date.now(); lastKey = event.key || ''; if (event.key === 'Enter') enterBegun(event); };
  const onTaken = (event) => {
    const node = event.target.closest && event.target.closest('.jp-NotebookPanel[data-fit-ran-at]');
    if (!node || event.target.closest('.fit') || Date.now() - pressed < 300) return;
    const input = Date.now() - node.dataset.fitRanAt < 5000 && fieldBefore(node);
    if (input) setTimeout(() => input.focus(), 0);
  };

  // The calculation of the notebook that comes next waits ready; asked for once more, Lab gives the one that is there.
  const nextKernel = async (app, panel) => {
    const [, folder, number] = panel.context.path.match(/^(.*\/)(\d)_[^/]*$/) || [];
    if (!number || panel.isDisposed) return;
    const { content } = await app.serviceManager.contents.get(folder);
    const next = content.find((one) => one.name.startsWith(`${+number + 1}_`));
    if (!next) return;
    const kernel = { name: panel.sessionContext.session.kernel.name };
    const way = await app.serviceManager.sessions.startNew({ path: next.path, name: next.name, type: 'notebook', kernel });
    way.dispose(); // the way to it alone
  };

  // No code, no counters: a hidden cell shows its result only, until "Show code".
  const LOOK = `
    .jp-NotebookPanel[data-fit-start] .jp-InputPlaceholder, .jp-NotebookPanel[data-fit-start] .jp-OutputPrompt,
    .jp-NotebookPanel[data-fit-start] .jp-InputPrompt, .jp-NotebookPanel[data-fit-start] .jp-Collapser,
    .jp-NotebookPanel[data-fit-start] .jp-OutputArea-promptOverlay,
    .jp-NotebookPanel[data-fit-start] .jp-Notebook-footer { display: none }
    .jp-NotebookPanel[data-fit-start] .jp-OutputArea-child { grid-template-columns: 0 minmax(0, 1fr) 0 }
    .jp-NotebookPanel[data-fit-start] .jp-OutputArea-output { overflow: visible; padding-left: 4px }
    .jp-NotebookPanel[data-fit-start] .jp-RenderedVegaCommon5 { overflow-x: auto }
    .jp-NotebookPanel[data-fit-start] .jp-MarkdownOutput { font: 11pt/1.42 "Times New Roman", "Liberation Serif", Times, serif; max-width: 46rem; color: #1a1a1a }
    .jp-NotebookPanel[data-fit-start] .jp-MarkdownOutput :is(h1, h2) { font-weight: bold; color: #1a1a1a }
    .jp-NotebookPanel[data-fit-start] .jp-MarkdownOutput h1 { font-size: 19pt }
    .jp-NotebookPanel[data-fit-start] .jp-MarkdownOutput h2 { font-size: 14pt; border-top: 1.5px solid #1a1a1a; padding-top: 6px }
    .jp-NotebookPanel[data-fit-start] .jp-Cell { padding: 2px 6px; border-color: transparent !important; box-shadow: none !important }
    .jp-NotebookPanel[data-fit-start] .jp-Cell::before, .jp-NotebookPanel[data-fit-start] .jp-Cell::after { display: none }
    .jp-NotebookPanel[data-fit-start] .jp-MarkdownOutput { border: 0 !important }
    .jp-NotebookPanel[data-fit-start] .jp-Notebook { --jp-notebook-padding: 4px }`;

  const activate = (app, tracker, NotebookActions) => {
    recall();
    const style = document.createElement('style'); style.textContent = LOOK; document.head.appendChild(style);
    document.addEventListener('input', onInput, true);
    document.addEventListener('change', onSend, true);
    document.addEventListener('focusout', onSend, true);
    document.addEventListener('focusin', onFocus, true);
    document.addEventListener('focusin', onTaken, true);
    document.addEventListener('keydown', onPress, true);
    document.addEventListener('pointerdown', onPress, true);
    window.addEventListener('beforeunload', (event) => { if (typed.size) event.preventDefault(); });
    document.addEventListener('click', (event) => {
      const go = event.target.closest && event.target.closest('a[data-fit-go]');
      if (go) { event.preventDefault(); goTo(go.closest('.jp-NotebookPanel'), go.dataset.fitGo); return; }
      const more = event.target.closest && event.target.closest('.fit-another');
      if (more) more.closest('.fit-entry').querySelector('input, select, textarea').focus(); // of the new entry
      const link = event.target.closest && event.target.closest('a[data-fit-open]');
      if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      app.commands.execute('docmanager:open', { path: link.dataset.fitOpen });
    }, true);
    new MutationObserver((changes) => changes.forEach((change) => {
      change.addedNodes.forEach(look);
      if (change.type === 'attributes' && /fit-(at-|fold)/.test(String(change.target.className))) look(change.target);
    })).observe(document.body, { childList: true, subtree: true, attributes: true, attributeFilter: ['class'] });

    tracker.widgetAdded.connect(async (_, panel) => {
      panel.node.dataset.fitPath = panel.context.path;
      await panel.context.ready; await panel.sessionContext.ready;
      if (!panel.model.getMetadata('start_on_open')) return;
      panel.node.dataset.fitStart = '';
      await formsKnown(panel);
      const run = async () => {
        await NotebookActions.runAll(panel.content, panel.sessionContext);
        giveBack(panel);
        panel.node.dataset.fitReady = '';
      };
      let died = false;
      panel.sessionContext.statusChanged.connect((_, status) => {
        if (['autorestarting', 'restarting', 'dead', 'terminating'].includes(status)) {
          died = true; delete panel.node.dataset.fitReady; NotebookActions.clearAllOutputs(panel.content);
        } else if (died && status === 'idle') { died = false; run(); }
      });
      await run();
      setTimeout(() => nextKernel(app, panel).catch(() => {}), 3000); // else the next notebook starts its own
    });
  };

  window._JUPYTERLAB = window._JUPYTERLAB || {};
  window._JUPYTERLAB['start-on-open'] = {
    init: (shared) => { scope = shared; },
    get: async () => {
      const { INotebookTracker, NotebookActions } = await share('@jupyterlab/notebook');
      const plugin = {
        id: 'start-on-open:plugin', autoStart: true, requires: [INotebookTracker],
        activate: (app, tracker) => activate(app, tracker, NotebookActions)
      };
      return () => ({ __esModule: true, default: plugin });
    }
  };
})();
