"""The desk and its own watcher at work on one studio: never both inside a visit, and nobody waits for ever."""

import threading
import time

import pytest

from pipeline.workshop import Workshop
from tests.conftest import Bench
from tests.desk import desk_on


def test_the_watcher_waits_while_the_desk_makes_a_version(bench: Bench) -> None:
    desk = desk_on(bench)
    assert desk.room.own
    inbox = desk.room.own.inbox
    bench.drop("a.csv", "fine")
    inbox.take_all(inbox.settled())
    bench.now += 3
    inbox.take_all(inbox.settled())
    work = threading.Thread(target=inbox.work_off)
    with desk.room.alone():
        work.start()
        work.join(0.2)
        assert bench.worked_out == []
    work.join(10)
    assert bench.worked_out == ["a"]
    desk.room.ledger.close()


def test_whoever_waits_has_a_turn_soon_however_much_the_other_has_to_do() -> None:
    shop, order = Workshop(), []
    begun = threading.Event()

    def busy() -> None:
        for _ in range(200):
            with shop.alone():
                begun.set()
                order.append("watcher")
                time.sleep(0.005)

    thread = threading.Thread(target=busy)
    thread.start()
    begun.wait()
    with shop.alone():
        order.append("desk")
    thread.join()
    assert order.index("desk") < 20


def test_a_fault_inside_lets_the_next_one_in() -> None:
    shop = Workshop()
    with pytest.raises(ZeroDivisionError), shop.alone():
        _ = 1 / 0
    entered = threading.Thread(target=lambda: shop.alone().__enter__())
    entered.start()
    entered.join(5)
    assert not entered.is_alive()
