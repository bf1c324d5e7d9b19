#!/usr/bin/env bash
# A microphone without a sound card: what is played into a private PulseAudio null sink comes out of
# its monitor, and PortAudio sees that as the default input through ALSA's pulse plugin.
#
#   eval "$(tests/null_audio.sh start)"   # starts a server of its own, sets the variables that find it
#   paplay --device=bench strike.wav      # plays into the microphone
#   eval "$(tests/null_audio.sh stop)"    # ends that server and unsets them
#
# NULL_AUDIO_RATE=44100 changes the rate. Debian: libportaudio2 pulseaudio pulseaudio-utils libasound2-plugins
# Unset ALSA_CONFIG_PATH together with the server: PortAudio aborts the process when that file is gone.
set -euo pipefail

write_configuration() {
    printf 'pcm.!default { type pulse }\nctl.!default { type pulse }\n' >"$1/asound.conf"
    # norewinds=1: the sink renders blocks of 50 ms. Without it they are 2 s, and sound is lost.
    cat >"$1/server.pa" <<CONF
load-module module-native-protocol-unix socket=$1/native auth-anonymous=1
load-module module-null-sink sink_name=bench rate=${NULL_AUDIO_RATE:-48000} channels=1 format=float32le norewinds=1
set-default-sink bench
set-default-source bench.monitor
CONF
}

start() {
    local folder pid
    folder=$(mktemp -d "${TMPDIR:-/tmp}/null_audio.XXXXXX")
    mkdir -m 700 "$folder/run" "$folder/home"
    write_configuration "$folder"
    HOME="$folder/home" PULSE_RUNTIME_PATH="$folder/run" PULSE_STATE_PATH="$folder/home" \
        setsid pulseaudio -n -F "$folder/server.pa" --daemonize=no --use-pid-file=no --exit-idle-time=-1 \
        --disallow-exit --high-priority=no --realtime=no --disable-shm=yes --log-target="file:$folder/server.log" \
        </dev/null >"$folder/out.log" 2>&1 &
    pid=$!
    for _ in $(seq 100); do
        if PULSE_SERVER="unix:$folder/native" pactl info >/dev/null 2>&1; then
            echo "export NULL_AUDIO_DIR=$folder NULL_AUDIO_PID=$pid"
            echo "export PULSE_SERVER=unix:$folder/native ALSA_CONFIG_PATH=$folder/asound.conf"
            return
        fi
        kill -0 "$pid" 2>/dev/null || break
        sleep 0.1
    done
    cat "$folder/out.log" "$folder/server.log" >&2 || true
    echo "null_audio: the server did not start" >&2
    echo false # so that the caller's eval fails as well
    exit 1
}

stop() {
    : "${NULL_AUDIO_DIR:?nothing to stop}" "${NULL_AUDIO_PID:?nothing to stop}"
    kill -KILL "$NULL_AUDIO_PID" 2>/dev/null || true # it has nothing to save, and takes 2 s to end politely
    rm -rf "$NULL_AUDIO_DIR"
    echo "unset NULL_AUDIO_DIR NULL_AUDIO_PID PULSE_SERVER ALSA_CONFIG_PATH"
}

case "${1:-}" in
start) start ;;
stop) stop ;;
*) echo "usage: $0 start|stop" >&2 && exit 2 ;;
esac
