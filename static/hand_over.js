// Sends the page's one form on by itself; its button is there for browsers that run no scripts.
document.querySelector("form[data-hand-over]").requestSubmit();
