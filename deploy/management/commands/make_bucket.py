"""`manage.py make_bucket`: the bucket of the settings is there afterwards, closed to strangers."""

from __future__ import annotations

from typing import Any

from botocore.exceptions import BotoCoreError, ClientError
from django.core.files.storage import default_storage
from django.core.management.base import BaseCommand, CommandError

from deploy.environment import text

#: The one region in which a bucket is made without being told where.
FIRST_REGION = "us-east-1"
NOT_THERE = ("404", "NoSuchBucket")
MADE_BESIDE_US = ("BucketAlreadyOwnedByYou", "BucketAlreadyExists")


class Command(BaseCommand):
    help = "Make the bucket for files where it is not there yet."

    def handle(self, **options: Any) -> None:
        bucket = getattr(default_storage, "bucket", None)
        if bucket is None:
            self.stdout.write("Files lie on the local disk: there is no bucket to make.")
            return
        try:
            self.stdout.write(f"The bucket {bucket.name} {'is made' if _made(bucket) else 'is there'}.")
        except (BotoCoreError, ClientError) as error:
            raise CommandError(f"The bucket {bucket.name} cannot be reached or made: {error}") from error


def _made(bucket: Any) -> bool:
    """True where it was not there."""
    client = bucket.meta.client
    try:
        client.head_bucket(Bucket=bucket.name)
        return False
    except ClientError as error:
        if error.response["Error"]["Code"] not in NOT_THERE:
            raise
    region = text("TRACKER_S3_REGION")
    where = {} if region == FIRST_REGION else {"CreateBucketConfiguration": {"LocationConstraint": region}}
    try:
        client.create_bucket(Bucket=bucket.name, **where)
    except ClientError as error:
        if error.response["Error"]["Code"] not in MADE_BESIDE_US:
            raise
        return False
    return True
