"""Stories: dialogues written to be read, played through the real doors by `aftercare demo` and by the tests."""
