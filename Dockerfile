# One static binary on an empty image, with the tablet's program inside.
FROM golang:1.26.8 AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN go run ./static/build && \
    CGO_ENABLED=0 go build -trimpath -ldflags="-s -w" -o /duskline ./cmd/server && \
    mkdir /empty

FROM scratch
COPY --from=build /duskline /duskline
# The folder that holds everything of one company: it outlives the container.
COPY --from=build --chown=65532:65532 /empty /data
USER 65532:65532
VOLUME /data
EXPOSE 8080
# TLS is the proxy's before it: tablets take a job on board over HTTPS only.
ENTRYPOINT ["/duskline", "-data", "/data", "-addr", "0.0.0.0:8080"]
CMD ["-proxied"]
