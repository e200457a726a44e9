"""Coming late into a class that is on, where the host says that it is."""

import errno


def come_late(session, zero_utc_ms: int, gate_ms: int) -> bool:
    """Play on in the class that began, but for its waits, at ``zero_utc_ms``; False if it is over.

    At ``gate_ms`` it stands, waiting for a hold as the others do; -1 while it runs. Raises OSError,
    with no run on, and what reading the timeline raises.
    """
    runner, run_ms = session.runner, session.run_ms()
    zero_ms = session.clock.run_ms_of_utc(zero_utc_ms)
    since_ms = run_ms - zero_ms
    if gate_ms < 0 and (since_ms < 0 or runner.place_at(since_ms, since_ms) < 0):
        return False
    try:
        session.begin_log()
        if gate_ms >= 0:
            runner.wait_again(gate_ms, run_ms)
        else:
            runner.rejoin(zero_ms, run_ms, since_ms)
        if not session.log.write():
            raise OSError(errno.EIO)
    except Exception as error:
        session.disarm()  # a host that is told no must not find the box in class
        raise error
    return True
