"""Drawing a program: the rungs, commands, actions and the help for elements.

- The server alone knows programs. The browser sends one action with the revision that it shows;
  the answer (``templates/editor/_changes.html``) holds only the rungs that changed, named by
  their old numbers, and ``static/editor/selection.js`` renumbers them. A rung's view knows no
  number.
- Actions wait for each other in the browser, so each is made on what the one before it left. The
  field for an element opens at once; where its text goes is settled in its turn.
- An action on an old revision changes nothing: the window gets the newest program, shows what is
  new in it, and may repeat its step.
- What follows from one rung alone (messages, uses, drawing) is remembered by the rung, without
  its number; an edit computes only what it changed. ``tests.browser.latency`` measures an edit
  from key press to picture.
- Fields and dialogs open and close at once, before the server has answered, and take the keys. No
  selector in ``static/editor.css`` may count rungs or look from the editor into them.
"""
