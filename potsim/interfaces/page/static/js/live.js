// As fast as a hand moves: one request under way, the newest wish next, nothing in between.
export function follow(ask, take, refuse) {
  let wanted = null;
  let busy = false;
  return async function want(what) {
    wanted = { what };
    if (busy) return;
    busy = true;
    while (wanted) {
      const { what: now } = wanted;
      wanted = null;
      try {
        const reply = await ask(now);
        take(reply, now, wanted !== null);
      } catch (error) {
        if (!wanted) refuse(error, now);
      }
    }
    busy = false;
  };
}
