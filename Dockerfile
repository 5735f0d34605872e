FROM python:3.11-slim AS build
WORKDIR /app
COPY pyproject.toml constraints.txt ./
RUN python -m venv /venv && /venv/bin/pip install --no-cache-dir -c constraints.txt .

FROM python:3.11-slim
ENV PATH=/venv/bin:$PATH PYTHONDONTWRITEBYTECODE=1 PYTHONUNBUFFERED=1
RUN useradd --create-home --uid 10001 office && mkdir -p /data/var /data/files /data/static && chown -R office:office /data
COPY --from=build /venv /venv
WORKDIR /app
COPY --chown=office:office . .
USER office
VOLUME /data
EXPOSE 8000
CMD ["gunicorn", "config.wsgi", "--bind", "0.0.0.0:8000", "--workers", "3", "--threads", "4", "--max-requests", "1000", "--max-requests-jitter", "100", "--no-control-socket"]
