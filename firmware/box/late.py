"""Coming late into a class that is on, where the host says that it is."""

import errno


def come_late(session, message: dict, key: bytes) -> bool:
    """Play on in a class that began at ``zero_ms`` (UTC) but for its waits; False if it is over.

    At ``gate_ms`` it stands, waiting for a hold as the others do; -1 while it runs. It ran at
    ``from_ms``: at a gate since then the others wait, or at the end of that span if one ``waits``
    there. A remote leads it if there is a ``key``, but for its acts up to the number ``act``, and
    takes nobody back who is ``alone``. Raises OSError, with no run on, and what reading
    the timeline raises.
    """
    zero_utc_ms, gate_ms = int(message["zero_ms"]), int(message["gate_ms"])
    runner, run_ms = session.runner, session.run_ms()
    zero_ms = session.clock.run_ms_of_utc(zero_utc_ms)
    since_ms = run_ms - zero_ms
    from_ms = min(since_ms, int(message.get("from_ms", since_ms)))
    waits = gate_ms < 0 and bool(message.get("waits"))
    if gate_ms < 0 and (since_ms < 0 or runner.place_at(since_ms, from_ms) < 0):
        return False
    if waits:
        end_ms = runner.end_ms_at(from_ms)
        if 0 <= end_ms <= since_ms:
            gate_ms = end_ms
    if key:  # on a run, and a time, of its own
        session.heed(key, int(message.get("act", 0)))
        runner, run_ms = session.runner, session.run_ms()
        runner.alone = bool(message.get("alone"))
        zero_ms = session.clock.run_ms_of_utc(zero_utc_ms)
    try:
        session.begin_log()
        if gate_ms >= 0:
            runner.wait_again(gate_ms, run_ms)
        else:
            runner.rejoin(zero_ms, run_ms, from_ms)
            runner.waiting = waits
        if not session.log.write():
            raise OSError(errno.EIO)
    except Exception as error:
        session.disarm()  # a host that is told no must not find the box in class
        raise error
    return True
