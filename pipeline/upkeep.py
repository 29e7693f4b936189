"""What a studio's records need once a day: visits the archive lacks are filed, its files joined, old ones removed."""

import datetime as dt
import logging
from collections.abc import Callable
from dataclasses import dataclass, field

from pipeline import backlog
from pipeline.errors import ReportError
from pipeline.events import Event
from pipeline.inbox import Inbox
from pipeline.plurals import many
from pipeline.records import Refusal

_LOG = logging.getLogger("baywright")


@dataclass(slots=True)
class Upkeep:
    """The daily work of one studio, done in pieces between two visits."""

    inbox: Inbox
    _done_on: dt.date | None = None
    _in_vain: set[str] = field(default_factory=set)  # visits that could be worked out once and cannot now

    def go_on(self, stop: Callable[[], bool]) -> None:
        """Do what is due until `stop`; trouble of the disk is told and leaves the rest for the next day."""
        today = self.inbox.today()
        if today == self._done_on:
            return
        try:
            if self._all_filed(stop) and not stop():
                self._join(stop)
                if not stop():
                    self._learn()
                    self._done_on = today
        except OSError as fault:
            self.inbox.troubles.tell("archive", fault)
            self._done_on = today
        except ReportError as fault:
            _LOG.error("The archive could not be looked after: %s.", type(fault).__name__)
            self._done_on = today

    def _all_filed(self, stop: Callable[[], bool]) -> bool:
        """File the visits the archive lacks, from their kept originals; True when none is left."""
        backlog.file_lacking(self.inbox, stop)
        lacking = [one for one in self.inbox.ledger.archive.lacking() if one not in self._in_vain]
        for identity in lacking:
            if stop():
                return False
            entry = self.inbox.ledger.entry(identity)
            try:
                if entry is None or isinstance(self.inbox.work_out(entry), Refusal):
                    self._in_vain.add(identity)
                else:
                    self.inbox.file_last(identity)
            except ReportError as fault:
                _LOG.error("Visit %s cannot be filed: %s.", identity[:8], type(fault).__name__)
                self._in_vain.add(identity)
        return True

    def _learn(self) -> None:
        """Learn from the archive, and tell of bays whose device drifts, once a day for as long as they do."""
        for said in self.inbox.archive.learn():
            self.inbox.tell(Event("drift", "bays", said))

    def _join(self, stop: Callable[[], bool]) -> None:
        made = self.inbox.archive.join_months(stop)
        if made:
            _LOG.info("The archive was joined, %s.", many(made, "file"))
        self.inbox.archive.sweep()
