"""What a person can be told of and can switch off, and whom a role is told of what."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Switch:
    """One thing that a person switches on or off: what it says beside the box, and what it means."""

    label: str
    help: str


#: Notices in the product, by kind. Everything is on until it is switched off.
SWITCHES = {
    "assigned": Switch("Punch items that become yours", "Told when somebody else puts your name on one."),
    "due": Switch("What you owe and when", "Told the day before a punch item is due, and once when it is overdue."),
    "escalated": Switch("What others owe too long", "Told to managers, after the days that the project sets."),
    "gate": Switch("Gates accepted and withdrawn", "Told to everybody who sees the site."),
    "witness": Switch("Invitations to hold and witness points", "Told to the party that the point names."),
    "answer": Switch("Answers to invitations", "Told to whoever invited, and to managers who see the site."),
    "dossier": Switch("Dossiers that you asked for", "Told when one is built and can be downloaded."),
}
#: Parts of the daily mail. Where none of them has anything to say, no mail goes.
DAILY = {
    "mail_due": Switch("What you owe, each day", "Punch items of yours that are overdue or due by tomorrow."),
    "mail_news": Switch("What is new, each day", "The notices of the last day that you have not looked at yet."),
}
#: Mails, each with its switch.
MAILS = {
    **DAILY,
    "mail_witness": Switch("Invitations to hold and witness points", "With a calendar file, and a link to answer."),
}
ALL_SWITCHES = {**SWITCHES, **MAILS}
