"""From the register workbook to the end of the dead tests."""

from __future__ import annotations

from commissioning.models import Instrument, System
from deploy.demo import walk
from deploy.demo.certificates import certificate
from tests.journeys.people import Person
from tests.journeys.station import SYSTEM, workbook
from tests.journeys.story import (
    ISOLATED,
    MECHANICAL,
    PRE,
    Story,
    isolate,
    measured_with,
    the_client_accepts,
)

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def upload(manager: Person, data: bytes) -> None:
    manager.open("register")
    manager.page.set_input_files("[name=file]", {"name": "tarnholt.xlsx", "mimeType": XLSX, "buffer": data})
    manager.press("see what it would change")


def the_register_comes_in(story: Story) -> None:
    """A workbook with a mistake is refused as a whole; the corrected one is looked at, then imported."""
    manager = story.manager
    upload(manager, workbook(Systems=[["tag", "site", "name", "kind"], [SYSTEM, "NOWHERE", "Supply", "UPS"]]))
    manager.sees("needs correcting", "NOWHERE").does_not_see("import it")
    upload(manager, workbook())
    manager.sees("Nothing is wrong with it.")
    assert not System.objects.exists()
    manager.press("import it: all or nothing").sees("Imported")
    assert story.system.equipment.count() == 9


def the_certificates_are_added(story: Story) -> None:
    """The workbook brings when an instrument was calibrated; the laboratory's certificate comes by hand, as a PDF."""
    engineer = story.engineer
    for instrument in Instrument.objects.filter(project=story.project):
        on_record = instrument.calibrations.get()
        number, done, due = on_record.certificate_number, on_record.calibrated_on, on_record.due_on
        paper = certificate(instrument, number=number, calibrated_on=done, due_on=due)
        engineer.open("instrument", instrument.pk).within("summary").filter(has_text="add a calibration").click()
        engineer.type(calibrated_on=done.isoformat(), due_on=due.isoformat(), certificate_number=number)
        engineer.page.set_input_files(
            "[name=certificate]", {"name": "certificate.pdf", "mimeType": "application/pdf", "buffer": paper}
        )
        engineer.press("add the calibration").sees(f"{number}, PDF")


def the_procedure_is_laid_out(story: Story) -> None:
    manager = story.manager
    manager.follow("lay out procedures for 1 system").sees(SYSTEM)
    manager.press("lay out procedures").sees("check lines laid out")
    manager.open("portfolio").sees("Switchgear supply 110 V")
    assert story.system.stages.count() == 4


def the_supplies_are_isolated(story: Story) -> None:
    """Not recorded is treated as LIVE; recorded isolated still asks for proof at the point of work."""
    engineer = story.engineer
    engineer.open("system", story.system.pk)
    assert "not recorded - treat as LIVE" in engineer.energy()
    isolate(engineer, story.supply("Q1"), "L-301")
    assert "not recorded - treat as LIVE" in engineer.energy()
    isolate(engineer, story.supply("Q2"), "L-302")
    assert ISOLATED in engineer.energy()
    assert "its terminals stay live" in engineer.energy()


def mechanical_completion(story: Story) -> None:
    """On the phone: lines passed, failed and answered again, not applicable; a hold point; a review."""
    engineer, manager, client = story.engineer, story.manager, story.client
    engineer.open("system", story.system.pk).press("start mechanical completion").sees("is started")
    engineer.open("run", story.system.pk).follow("open line 1")
    engineer.press("passed").sees("undo")
    engineer.follow("next open line").press("passed").sees("undo")
    engineer.follow("next open line").press("passed")
    story.on_line("mc-030", who=manager).press("I have reviewed it").sees("Witnessed, under your name.")

    story.on_line("mc-040", who=manager).follow("set a hold or witness point")
    manager.page.check("[name=point][value=hold]")
    manager.page.check("[name=party][value=client]")
    manager.press("set the point").sees("The point is set.")
    story.on_line("mc-040").press("passed").sees("Work stops here until the client has witnessed it.")
    story.on_line("mc-050").sees("This stands in the way")
    assert not engineer.within("button[value=passed]").is_visible()
    story.on_line("mc-040", who=client).press("I was there and have seen it").sees("witnessed by")

    story.on_line("mc-050").type(remark="The way out is blocked by a pallet.").press("failed")
    engineer.follow("answer again").press("passed").sees("undo")
    story.others_up_to(MECHANICAL, "mc-140")
    engineer.open("run-line", story.line("mc-140").pk)
    engineer.type(remark="The eye wash of the room beside serves this one.").press("not applicable")
    story.others_up_to(MECHANICAL)


def mechanical_completion_is_accepted(story: Story) -> None:
    the_client_accepts(story, MECHANICAL)


def pre_energisation(story: Story) -> None:
    """A supply nobody has recorded stops a dead test; isolated, the test still wants dead proved first."""
    engineer = story.engineer
    engineer.open("system", story.system.pk).press("start pre-energisation").sees("is started")
    story.others_up_to(PRE, "pe-040")
    engineer.open("register").follow("a supply point")
    engineer.type(system=SYSTEM, tag=f"{SYSTEM}-Q3", description="site generator, back-feed through the test board")
    engineer.page.select_option("[name=kind]", "back_feed")
    engineer.press("add it")
    story.on_line("pe-040", "W1").sees("This stands in the way")
    assert "not recorded - treat as LIVE" in engineer.energy()
    assert not engineer.within("[name=measured]").count()
    engineer.follow("go to what stands in the way")
    isolate(engineer, story.supply("Q3"), "L-303")

    story.on_line("pe-040", "W1").sees("First prove dead at the point of work")
    assert not engineer.within("[name=measured]").count()
    engineer.type(point_of_work="terminals of W1", detector="two-pole voltage detector VD-07")
    engineer.page.check("[name=proved_before]")
    engineer.press("record the proof of dead").sees("Prove the detector on a known source after the test.")
    engineer.page.check("[name=proved_before]")
    engineer.page.check("[name=proved_after]")
    engineer.press("record the proof of dead").sees("The proof of dead is on record.")
    measured_with(engineer, "MM-2207", unit="Ω")
    # independent: 30 m of 0.727 + 0.727 Ω/km is 0.0436 Ω
    engineer.type(measured="0.045", length="30").within("#live .state.s-accept").wait_for()
    engineer.press("keep the reading").sees("undo")
    story.others_up_to(PRE)
    walk.accept(story.team, story.stage(PRE))
