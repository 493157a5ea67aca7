"""The server behind the client library: one request a call, no retries of its own, errors as `Fault`s."""

from __future__ import annotations

from typing import Any

from chamberwatch.series.faults import Fault, of_network, of_status


class Server:
    """Where lines are written to. Makes the connection with the first write; ValueError for a bad url."""

    def __init__(self, url: str, org: str, bucket: str, token: str, timeout_ms: int) -> None:
        if not url.startswith(("http://", "https://")):
            raise ValueError(f"its url {url!r} must begin with http:// or https://")
        # Late: 30-40 MB that a house without a server does not pay.
        from influxdb_client.client.influxdb_client import InfluxDBClient  # noqa: PLC0415
        from influxdb_client.client.write_api import SYNCHRONOUS  # noqa: PLC0415
        from influxdb_client.domain.write_precision import WritePrecision  # noqa: PLC0415
        from influxdb_client.rest import ApiException  # noqa: PLC0415
        from urllib3.exceptions import HTTPError  # noqa: PLC0415

        self._url, self._org, self._bucket, self._token = url, org, bucket, token
        self._answered = ApiException
        self._unanswered = (HTTPError, OSError)
        self._precision: Any = WritePrecision.MS
        self._client: Any = InfluxDBClient(url, token, org=org, timeout=timeout_ms, enable_gzip=True)
        self._api: Any = self._client.write_api(write_options=SYNCHRONOUS)

    def write(self, lines: list[str]) -> Fault | None:
        """Write the lines; None when the server said that it took them."""
        try:
            self._api.write(bucket=self._bucket, org=self._org, record=lines, write_precision=self._precision)
        except self._answered as error:
            headers: Any = error.headers or {}
            message = str(error.message or "")[:200].replace(self._token or "\0", "…")
            return of_status(int(error.status or 0), headers.get("Retry-After"), message)
        except self._unanswered as error:
            return of_network(error, self._url)
        return None

    def close(self) -> None:
        """Close the connections."""
        self._api.close()
        self._client.close()
