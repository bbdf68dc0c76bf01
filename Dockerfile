# The dashboard in a container: Debian slim, a user without rights, nothing kept.
#   docker build -t gapshift . && docker run --rm --publish 127.0.0.1:5006:5006 gapshift
FROM python:3.11-slim-bookworm

RUN apt-get update \
    && apt-get install --yes --no-install-recommends libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core \
    && rm -rf /var/lib/apt/lists/*

WORKDIR /build
COPY . .
RUN pip install --no-cache-dir --constraint constraints.txt ".[parquet,report,archive]" && rm -rf /build

RUN useradd --system --no-create-home --uid 10001 gapshift && install --directory --owner gapshift /srv/gapshift
USER gapshift
WORKDIR /srv/gapshift

EXPOSE 5006
HEALTHCHECK --interval=30s --timeout=10s --start-period=30s \
    CMD ["python", "-c", "import urllib.request; urllib.request.urlopen('http://127.0.0.1:5006/static/js/bokeh.min.js', timeout=8)"]

# Inside the container every address is the container's own; publish the port to the loopback of the host, as above.
ENTRYPOINT ["gapshift"]
CMD ["serve", "--no-browser", "--address", "0.0.0.0", "--port", "5006"]
