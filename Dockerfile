FROM rust:1.95-bookworm AS build
WORKDIR /build
COPY . .
RUN cargo build --release --locked -p sconced

FROM debian:bookworm-slim
RUN useradd --uid 10001 --no-create-home --shell /usr/sbin/nologin sconced \
 && mkdir /data && chown 10001:10001 /data
COPY --from=build /build/target/release/sconced /usr/local/bin/sconced
USER 10001:10001
VOLUME /data
EXPOSE 8470 1883
ENTRYPOINT ["/usr/local/bin/sconced"]
CMD ["serve", "--data", "/data", "--http", "0.0.0.0:8470", "--mqtt", "0.0.0.0:1883"]
