"""Addresses of the API, mounted under /api/v1/."""

from django.urls import URLPattern, URLResolver, include, path, re_path
from drf_spectacular.views import SpectacularJSONAPIView

from commissioning.api import (
    alarms,
    calculations,
    dossiers,
    instruments,
    lines,
    outbox,
    procedure_lines,
    procedures,
    projects,
    readings,
    recordings,
    register,
    register_places,
    signals,
    stages,
    supplies,
    systems,
    take_along,
    tokens,
    work,
)

Addresses = list[URLPattern | URLResolver]

_line: Addresses = [
    path("", lines.OneLine.as_view(), name="api-line"),
    path("results/", lines.LineResults.as_view(), name="api-line-results"),
    path("readings/", readings.LineReadings.as_view(), name="api-line-readings"),
    path("try/", readings.TryReading.as_view(), name="api-line-try"),
    path("reopen/", lines.ReopenLine.as_view(), name="api-line-reopen"),
    path("proofs-of-dead/", lines.ProofsOfDead.as_view(), name="api-line-proofs"),
    path("notices/", lines.Notices.as_view(), name="api-line-notices"),
    path("witnessings/", lines.Witnessings.as_view(), name="api-line-witnessings"),
    path("concessions/", lines.Concessions.as_view(), name="api-line-concessions"),
    path("point/", lines.LinePoint.as_view(), name="api-line-point"),
]
_stage: Addresses = [
    path("", stages.OneStage.as_view(), name="api-stage"),
    path("start/", stages.StartStage.as_view(), name="api-stage-start"),
    path("accept/", stages.AcceptStage.as_view(), name="api-stage-accept"),
    path("withdraw/", stages.WithdrawStage.as_view(), name="api-stage-withdraw"),
    path("plan/", stages.PlanStage.as_view(), name="api-stage-plan"),
]
_supply: Addresses = [
    path("", register_places.OneSupply.as_view(), name="api-supply"),
    path("changes/", supplies.SupplyChanges.as_view(), name="api-supply-changes"),
    path("isolate/", supplies.IsolateSupply.as_view(), name="api-supply-isolate"),
    path("release/", supplies.ReleaseSupply.as_view(), name="api-supply-release"),
]
_alarm: Addresses = [
    path("", alarms.OneAlarm.as_view(), name="api-alarm"),
    path("decide/", alarms.DecideAlarm.as_view(), name="api-alarm-decide"),
    path("clear/", alarms.ClearAlarm.as_view(), name="api-alarm-clear"),
]
_proof: Addresses = [
    path("see/", signals.SeeSignal.as_view(), name="api-signal-see"),
    path("restore/", signals.RestoreSignal.as_view(), name="api-signal-restore"),
    path("fail/", signals.FailSignal.as_view(), name="api-signal-fail"),
]
_instrument: Addresses = [
    path("", instruments.OneInstrument.as_view(), name="api-instrument"),
    path("retire/", instruments.RetireInstrument.as_view(), name="api-instrument-retire"),
    path("bring-back/", instruments.BringBackInstrument.as_view(), name="api-instrument-bring-back"),
    path("ranges/", instruments.Ranges.as_view(), name="api-instrument-ranges"),
    path("calibrations/", instruments.Calibrations.as_view(), name="api-instrument-calibrations"),
]
_procedure: Addresses = [
    path("", procedures.OneProcedure.as_view(), name="api-procedure"),
    path("lines/", procedure_lines.ProcedureLines.as_view(), name="api-procedure-lines"),
    path("compare/", procedures.CompareProcedure.as_view(), name="api-procedure-compare"),
    path("take-over/", procedures.TakeOver.as_view(), name="api-procedure-take-over"),
    path("apply/", procedures.ApplyProcedure.as_view(), name="api-procedure-apply"),
]
_procedure_line: Addresses = [
    path("", procedure_lines.OneProcedureLine.as_view(), name="api-procedure-line"),
    path("place/", procedure_lines.PlaceProcedureLine.as_view(), name="api-procedure-line-place"),
    path("remove/", procedure_lines.RemoveProcedureLine.as_view(), name="api-procedure-line-remove"),
]
_register: Addresses = [
    path("template/", register.RegisterTemplate.as_view(), name="api-register-template"),
    path("workbook/", register.RegisterWorkbook.as_view(), name="api-register-workbook"),
    path("plans/", register.RegisterPlans.as_view(), name="api-register-plans"),
    path("plans/<uuid:id>/", register.OneRegisterPlan.as_view(), name="api-register-plan"),
    path("plans/<uuid:id>/apply/", register.ApplyRegisterPlan.as_view(), name="api-register-apply"),
    path("lay-out/", register.LayOut.as_view(), name="api-register-lay-out"),
]
_dossier: Addresses = [
    path("", dossiers.OneDossier.as_view(), name="api-dossier"),
    path("file/", dossiers.DossierFile.as_view(), name="api-dossier-file"),
    path("content/", dossiers.DossierContent.as_view(), name="api-dossier-content"),
    path("receive/", dossiers.ReceiveDossier.as_view(), name="api-dossier-receive"),
]
_job: Addresses = [
    path("", work.OneJob.as_view(), name="api-job"),
    path("cancel/", work.CancelJob.as_view(), name="api-job-cancel"),
    path("ask-again/", work.AskJobAgain.as_view(), name="api-job-ask-again"),
]
_outbox: Addresses = [
    path("", outbox.Outbox.as_view(), name="api-outbox"),
    path("<uuid:id>/drop/", outbox.DropItem.as_view(), name="api-outbox-drop"),
    re_path("^files/(?P<sha256>[0-9a-f]{64})/$", outbox.OutboxFiles.as_view(), name="api-outbox-file"),
]
_recording: Addresses = [
    path("", recordings.OneRecording.as_view(), name="api-recording"),
    path("confirm/", recordings.ConfirmColumns.as_view(), name="api-recording-confirm"),
    path("plot/", recordings.RecordingPlot.as_view(), name="api-recording-plot"),
]
_project: Addresses = [
    path("", projects.OneProject.as_view(), name="api-project"),
    path("members/", projects.Members.as_view(), name="api-members"),
    path("members/<uuid:id>/", projects.Member.as_view(), name="api-member"),
    path("audit/", projects.Audit.as_view(), name="api-audit"),
    path("audit/verify/", projects.AuditChainCheck.as_view(), name="api-audit-verify"),
    path("take-along/", take_along.TakeAlong.as_view(), name="api-take-along"),
    path("sites/", register_places.Sites.as_view(), name="api-sites"),
    path("sites/<uuid:id>/", register_places.OneSite.as_view(), name="api-site"),
    path("systems/", register_places.Systems.as_view(), name="api-systems"),
    path("systems/<uuid:id>/", register_places.OneSystem.as_view(), name="api-system"),
    path("systems/<uuid:id>/change/", systems.SystemChange.as_view(), name="api-system-change"),
    path("equipment/", register_places.EquipmentList.as_view(), name="api-equipment-list"),
    path("equipment/<uuid:id>/", register_places.OneEquipment.as_view(), name="api-equipment"),
    path("equipment/<uuid:id>/readings/", readings.EquipmentReadings.as_view(), name="api-equipment-readings"),
    path("dependencies/", register_places.Dependencies.as_view(), name="api-dependencies"),
    path("dependencies/<uuid:id>/", register_places.OneDependency.as_view(), name="api-dependency"),
    path("register/", include(_register)),
    path("stages/<uuid:id>/", include(_stage)),
    path("lines/", lines.Lines.as_view(), name="api-lines"),
    path("lines/<uuid:id>/", include(_line)),
    path("concessions/<uuid:id>/withdraw/", lines.WithdrawConcession.as_view(), name="api-concession-withdraw"),
    path("readings/", readings.Readings.as_view(), name="api-readings"),
    path("readings/<uuid:id>/", readings.OneReading.as_view(), name="api-reading"),
    path("recordings/", recordings.Recordings.as_view(), name="api-recordings"),
    path("recordings/<uuid:id>/", include(_recording)),
    path("instruments/", instruments.Instruments.as_view(), name="api-instruments"),
    path("instruments/<uuid:id>/", include(_instrument)),
    path("ranges/<uuid:id>/", instruments.OneRange.as_view(), name="api-range"),
    path(
        "calibrations/<uuid:id>/withdraw/", instruments.WithdrawCalibration.as_view(), name="api-calibration-withdraw"
    ),
    path("supplies/", register_places.Supplies.as_view(), name="api-supplies"),
    path("supplies/<uuid:id>/", include(_supply)),
    path("permissions/", supplies.Permissions.as_view(), name="api-permissions"),
    path("permissions/<uuid:id>/", supplies.OnePermission.as_view(), name="api-permission"),
    path("permissions/<uuid:id>/withdraw/", supplies.WithdrawPermission.as_view(), name="api-permission-withdraw"),
    path("alarms/", alarms.Alarms.as_view(), name="api-alarms"),
    path("alarms/<uuid:id>/", include(_alarm)),
    path("signals/", register_places.Signals.as_view(), name="api-signals"),
    path("signals/<uuid:id>/", register_places.OneSignal.as_view(), name="api-signal"),
    path("signals/<uuid:id>/force/", signals.ForceSignal.as_view(), name="api-signal-force"),
    path("signal-proofs/<uuid:id>/", include(_proof)),
    path("outbox/", include(_outbox)),
    path("procedures/", procedures.Procedures.as_view(), name="api-procedures"),
    path("procedures/<uuid:id>/", include(_procedure)),
    path("procedure-lines/<uuid:id>/", include(_procedure_line)),
    path("dossiers/", dossiers.Dossiers.as_view(), name="api-dossiers"),
    path("dossiers/<uuid:id>/", include(_dossier)),
    path("jobs/", work.Jobs.as_view(), name="api-jobs"),
    path("jobs/<uuid:id>/", include(_job)),
    path("verification-runs/", work.VerificationRuns.as_view(), name="api-verification-runs"),
    path("verification-runs/<uuid:id>/", work.OneVerificationRun.as_view(), name="api-verification-run"),
    path("verification-runs/<uuid:id>/changes/", work.VerificationChanges.as_view(), name="api-verification-changes"),
    path("verification-changes/<uuid:id>/decide/", work.DecideChange.as_view(), name="api-verification-decide"),
]
urlpatterns: Addresses = [
    path("openapi.json", SpectacularJSONAPIView.as_view(), name="api-openapi"),
    path("token/", tokens.TokenView.as_view(), name="api-token"),
    path("token/logout/", tokens.LogoutView.as_view(), name="api-token-logout"),
    path("token/logout-all/", tokens.LogoutAllView.as_view(), name="api-token-logout-all"),
    path("calculations/", calculations.Catalogue.as_view(), name="api-calculations"),
    path("calculations/<slug:name>/", calculations.OneCalculation.as_view(), name="api-calculation"),
    path("calculations/<slug:name>/run/", calculations.RunCalculation.as_view(), name="api-calculation-run"),
    path("procedures/", procedures.Bundled.as_view(), name="api-bundled-procedures"),
    path("projects/", projects.Mine.as_view(), name="api-projects"),
    path("projects/<str:code>/", include(_project)),
]
