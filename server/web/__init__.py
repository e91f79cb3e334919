"""Routes, forms and sessions: one room per kind of page.

- ``access.enforce`` runs before every route and admits nobody without a rule. What is not a
  visitor's own is 404 to them.
- The session cookie holds a random id; the database holds its hash, so signing out ends it.
  ``cookies`` sets and reads cookies and knows their names behind TLS.
- ``open_sockets`` watches sockets that stay open. A route that ends somebody's sign-in or place
  in a section has ``dependencies=[RECHECK]``.
- Forms and sockets are accepted from our own pages only (``SameOrigin``), so forms carry no
  token.
- The content security policy is ``script-src 'self'; style-src 'self'``: no inline script or
  style, no ``hx-on``. A test reads the templates for them.
- Requests of htmx that begin at one element queue there, and all but the first that waits are
  dropped silently. Each kind of request has a ``source`` of its own; where only the newest
  matters, it says ``hx-sync="this:queue last"``.
- The page of a submission that is being marked sends one request, which is answered when the
  verdict is there (``submissions.waiting``): on PostgreSQL the worker's commit notifies, and each
  web process listens on one connection. The page asks again after 5 s only when that answer is
  lost.
- An error answers htmx with a notice in the page's notice line; nothing typed is swapped away.
- Colors are named in ``static/ink.css``. A hue means that something wants attention, and every
  state has a word and a mark beside its hue.
"""
