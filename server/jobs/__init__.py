"""Work outside of a request: the queue, the marking process, regrades, checks of drafts."""
