# The service alone; docker-compose.yml sets a PostgreSQL server beside it.
#
#   docker build --tag borewright .

FROM rust:1.95-bookworm AS build
WORKDIR /build
COPY . .
ENV SQLX_OFFLINE=true
RUN --mount=type=cache,target=/usr/local/cargo/registry \
    --mount=type=cache,target=/build/target \
    cargo build --release --locked \
    && install -D target/release/borewright /out/borewright

FROM debian:bookworm-slim
RUN apt-get update \
    && apt-get install --yes --no-install-recommends ca-certificates \
    && rm -rf /var/lib/apt/lists/* \
    && useradd --system --no-create-home --shell /usr/sbin/nologin borewright
COPY --from=build /out/borewright /usr/local/bin/borewright
USER borewright
EXPOSE 8080
ENTRYPOINT ["borewright"]
CMD ["serve"]
