"""Instruments, their ranges and calibrations."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import django_filters
from django.db.models import QuerySet
from rest_framework.parsers import MultiPartParser
from rest_framework.request import Request
from rest_framework.response import Response

from commissioning.api.base import DeedView, ListView
from commissioning.api.filters import StandingFilter, TextFilter
from commissioning.api.parsing import BoundedJSONParser
from commissioning.api.schema import creates, operation
from commissioning.api.shapes.common import GiveReasonSerializer
from commissioning.api.shapes.instruments import (
    AccuracySerializer,
    CalibrationSerializer,
    ChangeInstrumentSerializer,
    InstrumentSerializer,
    NewCalibrationSerializer,
    NewInstrumentSerializer,
    NewRangeSerializer,
    RangeSerializer,
    WholeInstrumentSerializer,
)
from commissioning.errors import InvalidInput
from commissioning.models import Calibration, Instrument, InstrumentRange
from commissioning.selectors.instruments import calibration_or_404, instrument_or_404, instruments_for
from commissioning.services.instruments import (
    LARGEST_CERTIFICATE,
    add_calibration,
    bring_back_instrument,
    retire_instrument,
    withdraw_calibration,
)
from commissioning.services.register import add_range, change_instrument, change_range, create_instrument


class InstrumentFilter(django_filters.FilterSet):
    text = TextFilter("serial_number", "description", "maker", "model")
    standing = StandingFilter(field_name="retired_at", label="In use, or retired.")

    class Meta:
        model = Instrument
        fields: list[str] = []


class Instruments(ListView):
    """Instruments."""

    model = Instrument
    serializer_class = InstrumentSerializer
    filterset_class = InstrumentFilter

    def rows(self) -> QuerySet[Instrument]:
        return instruments_for(self.access)

    @operation("instruments_list", InstrumentSerializer(many=True))
    def get(self, request: Request, code: str) -> Response:
        """Instruments, and until when the calibration of each holds."""
        return self.listed()

    @creates("instruments_create", NewInstrumentSerializer, WholeInstrumentSerializer)
    def post(self, request: Request, code: str) -> Response:
        """Add an instrument by its serial number."""
        given = self.parsed(NewInstrumentSerializer)
        return self.create(
            create_instrument,
            model=Instrument,
            shape=WholeInstrumentSerializer,
            id=given.pop("id", None),
            actor=self.actor,
            project=self.access.project,
            **given,
        )


class OneInstrument(DeedView):
    """An instrument."""

    serializer_class = WholeInstrumentSerializer

    @operation("instruments_retrieve")
    def get(self, request: Request, code: str, id: UUID) -> Response:
        """The instrument with its ranges and calibrations."""
        return self.answer(self._whole(id))

    @operation("instruments_change", WholeInstrumentSerializer, request=ChangeInstrumentSerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change what is recorded of the instrument itself."""
        instrument = instrument_or_404(access=self.access, id=id)
        change_instrument(actor=self.actor, instrument=instrument, **self.parsed(ChangeInstrumentSerializer))
        return self.answer(self._whole(id))

    def _whole(self, id: UUID) -> Instrument:
        return self.one(instruments_for(self.access).prefetch_related("ranges", "calibrations"), id)


class RetireInstrument(DeedView):
    """An instrument taken out of use."""

    serializer_class = GiveReasonSerializer

    @operation("instruments_retire", InstrumentSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Take the instrument out of use: no new reading is taken with it, and its record stays."""
        instrument = instrument_or_404(access=self.access, id=id)
        retire_instrument(actor=self.actor, instrument=instrument, **self.parsed())
        return self.answer(self.one(instruments_for(self.access), id), InstrumentSerializer)


class BringBackInstrument(DeedView):
    """A retired instrument put into use again."""

    serializer_class = GiveReasonSerializer

    @operation("instruments_bring_back", InstrumentSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Put a retired instrument into use again; that it was away stays in the audit log."""
        instrument = instrument_or_404(access=self.access, id=id)
        bring_back_instrument(actor=self.actor, instrument=instrument, **self.parsed())
        return self.answer(self.one(instruments_for(self.access), id), InstrumentSerializer)


class Ranges(DeedView):
    """Ranges of an instrument."""

    serializer_class = NewRangeSerializer

    @creates("instruments_add_range", NewRangeSerializer, RangeSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Add a range with its accuracy."""
        given = self.parsed()
        return self.create(
            add_range,
            model=InstrumentRange,
            shape=RangeSerializer,
            id=given.pop("id", None),
            actor=self.actor,
            instrument=instrument_or_404(access=self.access, id=id),
            **given,
        )


class OneRange(DeedView):
    """A range of an instrument."""

    serializer_class = AccuracySerializer

    @operation("ranges_change", RangeSerializer)
    def patch(self, request: Request, code: str, id: UUID) -> Response:
        """Change the accuracy; readings that leaned on it are verified again, and what changes is listed."""
        rows = InstrumentRange.objects.filter(instrument__project=self.access.project).select_related("instrument")
        found = change_range(actor=self.actor, range=self.one(rows, id), **self.parsed())
        return self.answer(found, RangeSerializer)


class Calibrations(DeedView):
    """Calibrations of an instrument."""

    serializer_class = NewCalibrationSerializer
    parser_classes = [BoundedJSONParser, MultiPartParser]

    @creates("instruments_add_calibration", NewCalibrationSerializer, CalibrationSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Put a calibration on record, with its certificate as PDF if there is one."""
        given = self.parsed()
        file: Any = given.pop("certificate", None)
        if file is not None and file.size > LARGEST_CERTIFICATE:
            raise InvalidInput({"certificate": "The file is larger than 20 MB. Send the certificate's pages only."})
        return self.create(
            add_calibration,
            model=Calibration,
            shape=CalibrationSerializer,
            id=given.pop("id", None),
            actor=self.actor,
            instrument=instrument_or_404(access=self.access, id=id),
            certificate=file.read() if file is not None else None,
            **given,
        )


class WithdrawCalibration(DeedView):
    """A calibration that does not hold."""

    serializer_class = GiveReasonSerializer

    @operation("calibrations_withdraw", CalibrationSerializer)
    def post(self, request: Request, code: str, id: UUID) -> Response:
        """Withdraw the calibration; readings that leaned on it are marked, and gates show them."""
        calibration = calibration_or_404(access=self.access, id=id)
        done = withdraw_calibration(actor=self.actor, calibration=calibration, **self.parsed())
        return self.answer(done, CalibrationSerializer)
