"""Area codes of the states that have texting hours of their own (knowledge/hours.csv): where a client may be.

A number says where it was given out, not where its owner is; the law of some states presumes just that.
Source: North American Numbering Plan assignments, as listed by the phonenumbers library (its geographical data).
"""

from __future__ import annotations

AREA_CODES: dict[str, frozenset[str]] = {
    state: frozenset(codes.split())
    for state, codes in {
        "AL": "205 251 256 334 659 938",
        "CA": "209 213 279 310 323 341 350 369 408 415 424 442 510 530 559 562 619 626 628 650 657 661 669 707 714"
        " 738 747 760 805 818 820 831 840 858 909 916 925 949 951",
        "CT": "203 475 860 959",
        "FL": "239 305 321 324 352 386 407 448 561 645 656 689 727 728 754 772 786 813 850 863 904 941 954",
        "IL": "217 224 309 312 331 447 464 618 630 708 730 773 779 815 847 872",
        "KY": "270 364 502 606 859",
        "LA": "225 318 337 504 985",
        "MA": "339 351 413 508 617 774 781 857 978",
        "MD": "227 240 301 410 443 667",
        "MI": "231 248 269 313 517 586 616 734 810 906 947 989",
        "MN": "218 320 507 612 651 763 952",
        "MS": "228 601 662 769",
        "NJ": "201 551 609 640 732 848 856 862 908 973",
        "NM": "505 575",
        "NV": "702 725 775",
        "OK": "405 539 572 580 918",
        "RI": "401",
        "TX": "210 214 254 281 325 346 361 409 430 432 469 512 682 713 726 737 806 817 830 832 903 915 936 940 945"
        " 956 972 979",
        "WA": "206 253 360 425 509 564",
    }.items()
}


def state_of(number: str) -> str:
    """The state that the area code of an E.164 `number` was given to; empty for any other state or country."""
    if not number.startswith("+1"):
        return ""
    return next((state for state, codes in AREA_CODES.items() if number[2:5] in codes), "")
