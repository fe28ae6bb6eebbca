"""The API and the document that describes it."""

REST_FRAMEWORK = {
    "DEFAULT_AUTHENTICATION_CLASSES": [
        "commissioning.api.token_auth.ScopedTokenAuthentication",
        "rest_framework.authentication.SessionAuthentication",
    ],
    "DEFAULT_PERMISSION_CLASSES": ["rest_framework.permissions.IsAuthenticated"],
    "DEFAULT_RENDERER_CLASSES": ["rest_framework.renderers.JSONRenderer"],
    "DEFAULT_SCHEMA_CLASS": "commissioning.api.schema.SubjectSchema",
    "DEFAULT_FILTER_BACKENDS": ["django_filters.rest_framework.DjangoFilterBackend"],
    "EXCEPTION_HANDLER": "commissioning.api.problems.problem_details",
}
SPECTACULAR_SETTINGS = {
    "TITLE": "Commissioning tracker API",
    "VERSION": "1",
    "DESCRIPTION": "Plant, stages, check lines, readings and punch items of a project, under the rules of the pages.",
    "SERVE_INCLUDE_SCHEMA": False,
    "SCHEMA_PATH_PREFIX": r"/api/v1/(projects/\{code\}/)?",
    "COMPONENT_SPLIT_REQUEST": True,
    # A name for each list of words, where several records have a field of one name.
    "ENUM_NAME_OVERRIDES": {
        "AlarmOutcomeEnum": "commissioning.models.AlarmOutcome",
        "DossierScopeEnum": "commissioning.models.DossierScope",
        "EquipmentKindEnum": "commissioning.models.EquipmentKind",
        "ItemStateEnum": "punchlist.models.ItemState",
        "JobStateEnum": "commissioning.models.JobState",
        "LineStateEnum": "commissioning.models.LineState",
        "OutcomeEnum": "commissioning.models.Outcome",
        "PointEnum": "commissioning.models.Point",
        "RecordingKindEnum": "commissioning.models.RecordingKind",
        "RecordingStateEnum": "commissioning.models.RecordingState",
        "RoleEnum": "commissioning.models.Role",
        "StageKindEnum": "commissioning.models.StageKind",
        "StageStateEnum": "commissioning.models.StageState",
        "TokenScopeEnum": "commissioning.models.TokenScope",
        "SupplyKindEnum": "commissioning.models.SupplyKind",
        "SupplyStateEnum": "commissioning.models.SupplyState",
        "SystemKindEnum": "commissioning.models.SystemKind",
        "VerdictEnum": "commissioning.models.Verdict",
    },
    "POSTPROCESSING_HOOKS": [
        "drf_spectacular.hooks.postprocess_schema_enums",
        "commissioning.api.schema.say_problems",
    ],
}
