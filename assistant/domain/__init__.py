"""The ground floor: values in, values out. No I/O, no clock, no chance, no Flask, no SQLAlchemy."""
