"""The page of numbers, and the same as a file for a spreadsheet."""

from __future__ import annotations

import csv
import io
from datetime import timedelta

from flask import Blueprint, Response
from flask.typing import ResponseReturnValue

from assistant.doors.crew.door import Door, page
from assistant.usecases.numbers import Month, TextCount, by_month, open_reasons
from assistant.usecases.order_by_life import LifeOrder

COLUMNS = (
    "month", "texts from clients", "answered without help (percent)", "handed over", "reseals due", "reseals booked",
    "texts sent", "parts sent", "cost", "did not arrive", "opted out",
)  # fmt: skip
LOOK_BACK = timedelta(days=90)


def add_pages(routes: Blueprint, door: Door, order: LifeOrder) -> None:
    """`/crew/numbers` and `/crew/numbers.csv`."""
    app, count = door.assistant, TextCount(door.assistant)

    @routes.get("/numbers")
    def numbers() -> ResponseReturnValue:
        months = by_month(app, count, order.due_days(door.today), door.today)
        reasons = open_reasons(app, door.now - LOOK_BACK, door.now)
        titles = {topic: answer.title for topic, answer in app.knowledge.answers.get("en", {}).items()}
        return page(
            "numbers", "Numbers", months=months, reasons=reasons, titles=titles,
            this=next(month for month in months if month.begins == door.today.replace(day=1)),
        )  # fmt: skip

    @routes.get("/numbers.csv")
    def numbers_file() -> ResponseReturnValue:
        out = io.StringIO()
        writer = csv.writer(out)
        writer.writerow(COLUMNS)
        writer.writerows(_row(month) for month in by_month(app, count, order.due_days(door.today), door.today))
        # The mark at the beginning tells spreadsheet programs that this is UTF-8.
        answer = Response("\ufeff" + out.getvalue(), content_type="text/csv; charset=utf-8")
        answer.headers["Content-Disposition"] = 'attachment; filename="numbers.csv"'
        return answer


def _row(month: Month) -> tuple[object, ...]:
    share = "" if month.without_help is None else month.without_help
    return (
        f"{month.begins:%Y-%m}", month.asked, share, month.handed_over, month.reseals_due, month.reseals_booked,
        month.texts, month.parts, month.cost, month.failed, month.opted_out,
    )  # fmt: skip
