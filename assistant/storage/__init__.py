"""The keeps: tables, one module per subject, and the readers of the files people edit. No rules live here."""
