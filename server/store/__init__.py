"""Tables, queries and the unit of work.

- All changes go through one unit of work, ``with database.write() as session``. Marking and
  password hashing run outside of it.
- SQLite takes its write lock at the start of a writing unit of work, so that no update is lost,
  and all other writers wait: look up and compute before, in a unit for reading, and check the
  revision. PostgreSQL locks the rows named in the query (``lock_work``).
- A request reads with one session: what the access rule has looked up is known to the route. A
  dependency releases its connection at its end, since a request that waits for a thread must hold
  none. A reading ends with a commit on PostgreSQL: at a rollback the driver forgets the
  statements that it has prepared.
- A statement that every edit, submission or verdict sends is built once, as a constant with
  ``bindparam``: building it takes longer than sending it.
- A route commits before its answer is sent: *accepted* is said of what is stored.
- A submission row is the truth about what waits to be marked; a verdict is stored once, however
  often it arrives.
- The queue's tables are those of the installed release of its library. Its version is pinned;
  when the pin moves, write a migration with the library's own statements.
"""
