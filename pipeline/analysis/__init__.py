"""From shots to what can be said of them: tables in, records out; no files, no words, no units but SI."""
